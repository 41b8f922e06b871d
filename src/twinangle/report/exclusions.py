"""What was left out and why, and what to beware of: trials, cycles and warnings."""

from __future__ import annotations

from twinangle.report.blocks import Block, bullets, heading, table, text
from twinangle.report.by_hand import cycles_by_hand_blocks
from twinangle.results import StudyResults
from twinangle.results.answer import pairs_for_all
from twinangle.results.decided import BY_HAND
from twinangle.results.failures import Failure, failed_by_wearable, failures, in_short
from twinangle.results.grouping import Naming, cycles_left_out, procedures
from twinangle.results.not_recorded import is_not_recorded, not_recorded_sentences
from twinangle.results.notices import FIRST, NoticeRow, grouped_notices, named_recordings
from twinangle.under_test import JOIN
from twinangle.wording import NOTHING, count

SHOWN = 8  # lines of warnings in the report; the supplement has every one

MOST_IN_FULL = 3  # failures whose whole reason the report has room for; the supplement has all
LETTERS = 34  # of a cell beside which a reason keeps its room
MOST_NAMED = 8  # recordings in a cell


def exclusions_section(results: StudyResults) -> list[Block]:
    """Return the gravest warnings, then what was left out, then the other warnings in short."""
    told = [row for row in grouped_notices(results) if row.gravity != "note"]
    blocks: list[Block] = []
    if told:
        blocks += [heading("Beware"), bullets([_line(each) for each in told[:FIRST]])]
    counted = filter(None, (failed_by_wearable(results),))
    blocks += [text(note) for note in (*results.notes, *not_recorded_sentences(results), *counted)]
    naming = Naming(results)
    for status, title, by_hand in (
        ("failed", "Failed", False),
        ("excluded", "Excluded beforehand", False),
        ("excluded", "Taken out by hand", True),
    ):
        rows = _status_rows(results, naming, status, by_hand=by_hand)
        if rows:
            blocks += [heading(title), *_left_out(rows, short=status == "failed")]
    blocks += _reason_table(results)
    blocks += cycles_by_hand_blocks(results)
    rest = told[FIRST:]
    if rest:
        blocks += [heading("Further warnings"), bullets([_line(each) for each in rest[:SHOWN]])]
    if len(rest) > SHOWN:
        blocks.append(text(f"{len(rest) - SHOWN} more are in the supplement."))
    return blocks or [text("Nothing was left out, and nothing is warned of.")]


def _left_out(rows: list[list[str]], *, short: bool) -> list[Block]:
    """Return recordings that were left out; of many failures why, and not what to do about each."""
    said: list[Block] = []
    if short and len(rows) > MOST_IN_FULL:
        rows = [[*row[:-1], in_short(row[-1])] for row in rows]
        said = [text("What to do about each: in the supplement, and in tables/trials.csv.")]
    return [_reasons(rows), *said]


def _reasons(rows: list[list[str]]) -> Block:
    head = ("Participant", "Recording", "Procedure", "Reason")
    slim = all(len(cell) <= LETTERS for row in rows for cell in row[:-1])
    return {**table(head, rows, words=4), "slim": slim}


def failures_section(results: StudyResults) -> list[Block]:
    """Return every failure with its whole reason, where the report has no room for them."""
    rows = _status_rows(results, Naming(results), "failed", by_hand=False)
    return [_reasons(rows)] if len(rows) > MOST_IN_FULL else []


def warnings_section(results: StudyResults) -> list[Block]:
    """Return everything that is told of the recordings, like things together, and of which."""
    rows = [
        [_LEAD.get(row.gravity, "") + row.text, named_recordings(row, results, MOST_NAMED)]
        for row in grouped_notices(results)
    ]
    if not rows:
        return []
    return [
        table(
            ("What is told", "Recordings"),
            rows,
            words=2,
            caption="Each kind of warning once, the gravest first, as told of the worst "
            "recording. All wordings are in tables/warnings.csv.",
        )
    ]


_LEAD = {"grave": "Grave: ", "note": "Note: "}


def _line(row: NoticeRow) -> str:
    """Return a kind of warning in its worst wording, with how many recordings it concerns."""
    if row.n_recordings == 1:
        return f"{row.worst}: {row.text}"
    worst = "" if row.alike else f", at worst {row.worst}"
    return f"{count(row.n_recordings, 'recording')}{worst}: {row.text}"


def _status_rows(
    results: StudyResults, naming: Naming, status: str, *, by_hand: bool
) -> list[list[str]]:
    """Return one row a recording and reason, its procedures joined."""
    if status == "failed":
        return [_failed_row(one, naming) for one in failures(results)]
    found: dict[tuple[str, str, str], list[str]] = {}
    for trial in results.trials:
        if is_not_recorded(trial):
            continue
        if trial.status == status and trial.reason.startswith(BY_HAND) == by_hand:
            reason = trial.reason.removeprefix(BY_HAND)
            key = (trial.participant, naming.heading(trial), reason)
            found.setdefault(key, []).append(trial.procedure)
    return [
        [code, name, ", ".join(filter(None, used)) or NOTHING, reason or "no reason given"]
        for (code, name, reason), used in found.items()
    ]


_OF_A_DAY = (
    " Of recordings read in stretches these are of the first stretch; daily life is judged by the "
    "wearable alone, and counts the cycles that have no reference."
)


def _failed_row(one: Failure, naming: Naming) -> list[str]:
    """Return the row of a failure; the recording names a wearable where it is of but one."""
    recording = naming.heading(one.trial, wearable=len(one.wearables) == 1)
    return [
        one.trial.participant,
        recording,
        ", ".join(filter(None, one.by)) or NOTHING,
        one.reason,
    ]


def _reason_table(results: StudyResults) -> list[Block]:
    """Return how many cycles were left out for each reason, by procedure."""
    tally = cycles_left_out(results)
    if not tally:
        return []
    of_a_day = any(trial.daily is not None for trial in results.trials)
    names = procedures(results)
    head: tuple[str, ...] = ("Reason", *names)
    rows = [[kind, *(str(row[name]) for name in names)] for kind, row in tally.items()]
    if any(JOIN in name for name in names):  # names of several parts would be columns of a word
        head = ("Procedure", *tally)
        alike: dict[tuple[str, ...], list[str]] = {}
        for name in names:
            alike.setdefault(tuple(str(row[name]) for row in tally.values()), []).append(name)
        rows = [[", ".join(pairs_for_all(own, names)), *told] for told, own in alike.items()]
    return [
        heading("Cycles left out"),
        table(
            head,
            rows,
            caption="Cycles left out, all recordings. Every one of them, with its time and reason, "
            f"is in tables/exclusions.csv.{_OF_A_DAY if of_a_day else ''}",
        ),
    ]
