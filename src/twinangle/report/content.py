"""What the report says, page by page, as plain values for the typesetting template.

A section is a title and blocks; a block is a dict with `kind`: "text", "list", "heading",
"table", "figure", "group" (blocks kept on one page) or "break". All texts are data: the template
prints them as they are, whatever characters they hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from twinangle.report.figures_study import quantity_name
from twinangle.report.grouping import (
    Naming,
    TrialGroup,
    conditions,
    distinct,
    participants,
    procedures,
    trial_groups,
)
from twinangle.report.methods_text import cited, methods_paragraphs
from twinangle.report.tables import warnings_of
from twinangle.report.wording import NOTHING, between, breakable, count, number, span
from twinangle.results import PooledLimits, StudyResults, TrialResult

Block = dict[str, Any]
# name of a figure (its file without suffix) -> (caption, alternative text)
Figures = Mapping[str, tuple[str, str]]

CAUTIONS = (
    "For research use only: not a medical device, and not for diagnosis or treatment decisions. "
    "Leave those to licensed clinicians.",
    "Record people only with the approval of an ethics committee and their informed consent; "
    "local rules come first.",
    "Name participants by code only, here and in every file.",
    "Outdoors choose a safe route, and let somebody spot participants who may fall.",
    "The numbers hold for these participants, instruments, placements and surroundings. A reference "
    "instrument has errors of its own, and they are part of every difference shown here.",
)


def text(body: str) -> Block:
    """Return a paragraph."""
    return {"kind": "text", "body": body}


def bullets(items: Sequence[str]) -> Block:
    """Return a list."""
    return {"kind": "list", "items": list(items)}


def heading(body: str) -> Block:
    """Return a heading within a section."""
    return {"kind": "heading", "body": body}


def group(*blocks: Block) -> Block:
    """Return blocks that are kept on one page."""
    return {"kind": "group", "blocks": list(blocks)}


def figure(name: str, figures: Figures) -> list[Block]:
    """Return a figure's block, or none when it was not drawn."""
    if name not in figures:
        return []
    caption, alternative = figures[name]
    path = f"/figures/{name}.pdf"
    return [{"kind": "figure", "path": path, "caption": caption, "alternative": alternative}]


def table(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, words: int = 1, caption: str = ""
) -> Block:
    """Return a table whose first `words` columns hold words and the others numbers."""
    return {
        "kind": "table",
        "head": list(head),
        "rows": [[breakable(cell) for cell in row] for row in rows],
        "words": words,
        "caption": caption,
    }


def report_content(results: StudyResults, figures: Figures) -> dict[str, Any]:
    """Return everything the template prints.

    Parameters
    ----------
    results : StudyResults
        What a run found.
    figures : mapping of str to tuple of str
        Caption and alternative text of every figure drawn, by file name without suffix.

    Returns
    -------
    dict
        `title`, `subtitle`, `facts`, `cautions` and `sections`, of plain values.
    """
    sections = [
        ("Summary", _summary(results, figures)),
        ("Every trial", _every_trial(results)),
        *_participant_sections(results, figures),
        ("Limits of agreement", _limits(results, figures)),
        ("Conditions", _conditions(results, figures)),
        ("Exclusions, failures and warnings", _exclusions(results)),
        ("Methods", _methods(results)),
        ("Parameters and input files", _provenance(results)),
    ]
    return {
        "title": results.title,
        "subtitle": f"{results.joint.capitalize()} flexion from inertial sensors, held against a "
        "reference instrument worn at the same time",
        "facts": _facts(results),
        "cautions": list(CAUTIONS),
        "sections": [{"title": title, "blocks": blocks} for title, blocks in sections if blocks],
    }


def _facts(results: StudyResults) -> list[list[str]]:
    """Return the run at a glance, for the title page."""
    groups = trial_groups(results)
    status = [group_.main.status for group_ in groups]
    paired = [g.main for g in groups if g.main.agreement is not None]
    kept = sum(int(g.main.cycles.kept.sum()) for g in groups if g.main.cycles is not None)
    return [
        ["Participants", str(len(participants(results)))],
        ["Conditions", breakable(", ".join(conditions(results)) or NOTHING)],
        [
            "Recordings",
            f"{len(groups)}: {status.count('ok')} analysed ({len(paired)} with a reference), "
            f"{status.count('failed')} failed, {status.count('excluded')} excluded beforehand",
        ],
        ["Cycles kept", f"{kept} ({procedures(results)[0]})" if groups else "0"],
        ["Procedures", breakable(", ".join(procedures(results)) or NOTHING)],
        ["Acceptable difference", f"±{number(results.acceptable_deg, 1)}°, set in the study file"],
        ["Software", f"twinangle {results.version}"],
    ]


# ---------------------------------------------------------------- summary


def _summary(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the one page that answers the question."""
    if not any(trial.status == "ok" for trial in results.trials):
        return [
            text(
                "No trial could be analysed. The reasons are listed under “Exclusions, failures and "
                "warnings”; no number is given."
            )
        ]
    blocks = [text(_rests_on(results)), *figure("overview", figures)]
    blocks.append(
        table(
            ("Condition", "Procedure", "Trials", "Offset", "RMS demeaned", "SD wearable",
             "SD reference"),
            _summary_rows(results),
            words=2,
            caption="Smallest to largest value over trials, in degrees: offset of the mean curves "
            "(wearable − reference), RMS of the demeaned curves, SD over cycles.",
        )
    )  # fmt: skip
    if results.limits:
        blocks += [_limits_table(results.limits), *_verdicts(results)]
    elif all(trial.agreement is None for trial in results.trials):
        blocks.append(text("No recording has a reference: no agreement is given."))
    blocks += [text(note) for note in results.notes]
    return blocks


def _rests_on(results: StudyResults) -> str:
    """Say what the numbers rest on."""
    worked = [g.main for g in trial_groups(results) if g.main.status == "ok"]
    paired = [trial for trial in worked if trial.agreement is not None]
    kept = sum(int(trial.cycles.kept.sum()) for trial in worked if trial.cycles is not None)
    people = len({trial.participant for trial in worked})
    with_reference = len({trial.participant for trial in paired})
    said = (
        f"These numbers rest on {count(people, 'participant')}, "
        f"{count(len(worked), 'recording')} and {count(kept, 'cycle')}; "
        f"{count(len(paired), 'recording')} of {count(with_reference, 'participant')} "
        f"{'has' if len(paired) == 1 else 'have'} a reference."
    )
    if people == 1:
        said += " With one participant they say nothing about other people."
    return said


def _summary_rows(results: StudyResults) -> list[list[str]]:
    """Return the range over trials of each number, by condition and procedure."""
    rows = []
    for condition in conditions(results):
        for procedure in procedures(results):
            trials = [
                trial
                for trial in results.trials
                if (trial.condition, trial.procedure, trial.status) == (condition, procedure, "ok")
            ]
            curves = [trial.agreement for trial in trials if trial.agreement is not None]
            wearable = [t.wearable_variability for t in trials if t.wearable_variability]
            reference = [t.reference_variability for t in trials if t.reference_variability]
            rows.append(
                [
                    condition or NOTHING,
                    procedure,
                    str(len(trials)),
                    span(curve.offset for curve in curves),
                    span(curve.rms_demeaned for curve in curves),
                    span(item.sd for item in wearable),
                    span(item.sd for item in reference),
                ]
            )
    return rows


def _limits_table(limits: Sequence[PooledLimits]) -> Block:
    """Return the pooled limits, one row a condition, procedure and quantity."""
    rows = []
    for pooled in limits:
        found = pooled.limits
        rows.append(
            [
                pooled.condition or NOTHING,
                pooled.procedure,
                quantity_name(pooled.quantity),
                f"{len(set(pooled.participant))} / {len(pooled.difference)}",
                *(
                    [NOTHING] * 3
                    if found is None
                    else [
                        _with_interval(found.bias, found.bias_ci),
                        _with_interval(found.lower, found.lower_ci),
                        _with_interval(found.upper, found.upper_ci),
                    ]
                ),
            ]
        )
    return table(
        ("Condition", "Procedure", "Quantity", "People / cycles", "Bias", "Lower limit",
         "Upper limit"),
        rows,
        words=3,
        caption="Bias and limits of agreement, wearable − reference, in degrees, with their "
        "intervals in brackets.",
    )  # fmt: skip


def _with_interval(value: float, ends: tuple[float, float]) -> str:
    """Return a number and its interval in brackets."""
    inner = between(ends)
    return number(value) if inner == NOTHING else f"{number(value)} ({inner})"


def _verdicts(results: StudyResults) -> list[Block]:
    """Hold every pair of limits against the margin set beforehand."""
    margin = results.acceptable_deg
    lines = []
    for pooled in results.limits:
        where = ", ".join(part for part in (pooled.condition, pooled.procedure) if part)
        lines.append(
            f"{where}, {quantity_name(pooled.quantity).lower()}: {verdict(pooled, margin)}"
        )
    shown = lines if len(lines) <= 8 else lines[:8]
    blocks = [text(f"Held against the margin of ±{number(margin, 1)}°:"), bullets(shown)]
    if len(lines) > len(shown):
        blocks.append(text("The others stand under “Limits of agreement”."))
    return blocks


def verdict(pooled: PooledLimits, margin: float) -> str:
    """Say whether limits, and their intervals, lie inside a margin.

    Parameters
    ----------
    pooled : PooledLimits
        Limits of one quantity.
    margin : float
        Largest acceptable difference either way, in degrees.

    Returns
    -------
    str
        One clause.
    """
    limits = pooled.limits
    if limits is None:
        return f"no limits ({pooled.note})" if pooled.note else "no limits"
    if limits.lower < -margin or limits.upper > margin:
        return "the limits reach beyond the margin."
    outer = (limits.lower_ci[0], limits.upper_ci[1])
    if not outer[0] == outer[0] or not outer[1] == outer[1]:
        return "the limits lie inside the margin; there is no interval to say how surely."
    if outer[0] < -margin or outer[1] > margin:
        return (
            "the limits lie inside the margin, their intervals reach beyond it: not shown surely."
        )
    return "the limits lie inside the margin, their intervals included."


# ---------------------------------------------------------------- trials


TRIAL_HEAD = (
    "Participant", "Condition", "Recording", "Procedure", "Cycles", "Lag (s)", "Drift (ppm)",
    "Offset", "RMS dem.", "Range", "r", "SD w.", "SD ref.",
)  # fmt: skip


def _every_trial(results: StudyResults) -> list[Block]:
    """Return the table of all trials and procedures that worked."""
    naming = Naming(results)
    worked = [trial for trial in results.trials if trial.status == "ok"]
    if not worked:
        return []
    rows = [
        [trial.participant, trial.condition, naming.recording(trial), *_trial_numbers(trial)]
        for trial in worked
    ]
    head, rows = _without_empty(TRIAL_HEAD, rows, column=2)
    caption = (
        "One row a recording and procedure; degrees unless named otherwise. Cycles: kept / found. "
        "Offset, RMS of the demeaned curves and difference of ranges compare mean curves (wearable "
        "− reference); r: their correlation, which is not agreement; SD: over cycles."
    )
    words = head.index("Cycles")
    return [table(head, rows, words=words, caption=caption)]


def _without_empty(
    head: Sequence[str], rows: list[list[str]], *, column: int
) -> tuple[list[str], list[list[str]]]:
    """Drop a column that is empty in every row."""
    if any(row[column] for row in rows):
        return list(head), rows
    return (
        [name for k, name in enumerate(head) if k != column],
        [[cell for k, cell in enumerate(row) if k != column] for row in rows],
    )


def _trial_numbers(trial: TrialResult) -> list[str]:
    """Return procedure, cycles and the numbers of one trial."""
    clock, curves = trial.synchronisation, trial.agreement
    wearable, reference = trial.wearable_variability, trial.reference_variability
    cycles = trial.cycles
    return [
        trial.procedure,
        NOTHING if cycles is None else f"{int(cycles.kept.sum())} / {cycles.kept.size}",
        number(None if clock is None else clock.lag_s, 3),
        number(None if clock is None else clock.drift_ppm, 1),
        number(None if curves is None else curves.offset),
        number(None if curves is None else curves.rms_demeaned),
        number(None if curves is None else curves.range_difference),
        number(None if curves is None else curves.correlation, 3),
        number(None if wearable is None else wearable.sd),
        number(None if reference is None else reference.sd),
    ]


def _participant_sections(results: StudyResults, figures: Figures) -> list[tuple[str, list[Block]]]:
    """Return one section a participant, each recording kept together."""
    naming, groups = Naming(results), trial_groups(results)
    sections = []
    for code in participants(results):
        mine = [each for each in groups if each.main.participant == code]
        blocks = [_trial_block(each, naming, figures) for each in mine]
        sections.append((f"Participant {code}", blocks))
    return sections


def _trial_block(member: TrialGroup, naming: Naming, figures: Figures) -> Block:
    """Return one recording: numbers of every procedure, figures, warnings."""
    trial = member.main
    title = heading(naming.heading(trial))
    if not member.worked:
        how = "Excluded beforehand" if trial.status == "excluded" else "Failed"
        return group(title, text(f"{how}: {trial.reason}"))
    head = TRIAL_HEAD[3:]
    rows = [_trial_numbers(result) for result in member.worked]
    blocks = [title, table(head, rows, words=1)]
    for name in ("traces", "synchronisation", "cycles"):
        blocks += figure(f"{member.stem}_{name}", figures)
    blocks += [
        text(f"{result.procedure} failed: {result.reason}")
        for result in member.results
        if result.status == "failed"
    ]
    found = distinct(line for result in member.worked for line in warnings_of(result))
    if found:
        blocks.append({"kind": "notes", "items": list(found)})
    return group(*blocks)


# ---------------------------------------------------------------- pooled


def _limits(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the Bland-Altman plots and what they rest on."""
    if not results.limits:
        return []
    blocks: list[Block] = []
    names = [name for name in figures if name.startswith("limits_")]
    for name in names:
        blocks += figure(name, figures)
    blocks.append(_limits_table(results.limits))
    known = [pooled.limits for pooled in results.limits if pooled.limits is not None]
    if known:
        blocks.append(_components_table(results.limits))
        blocks.append(heading("What the limits rest on"))
        blocks.append(bullets(distinct(line for limits in known for line in limits.assumptions)))
    said = distinct(
        f"{pooled.condition}, {pooled.procedure}, {quantity_name(pooled.quantity).lower()}: {line}"
        for pooled in results.limits
        for line in (pooled.note, *(pooled.limits.notes if pooled.limits else ()))
        if line
    )
    if said:
        blocks += [heading("Notes"), bullets(said)]
    return blocks


def _components_table(limits: Sequence[PooledLimits]) -> Block:
    """Return the variation behind the limits, and how limits and intervals came about."""
    rows = [
        [
            pooled.condition or NOTHING,
            pooled.procedure,
            quantity_name(pooled.quantity),
            pooled.limits.method,
            pooled.limits.interval_method,
            number(pooled.limits.sd_between),
            number(pooled.limits.sd_within),
            number(pooled.limits.sd),
        ]
        for pooled in limits
        if pooled.limits is not None
    ]
    return table(
        (
            "Condition",
            "Procedure",
            "Quantity",
            "Form",
            "Intervals",
            "SD between",
            "SD within",
            "SD",
        ),
        rows,
        words=5,
        caption="SD of the differences between participants, within them, and of a single "
        "difference, in degrees.",
    )


def _conditions(results: StudyResults, figures: Figures) -> list[Block]:
    """Return the comparison of conditions."""
    if not results.conditions:
        return []
    rows = [
        [
            procedure,
            _quantity_of_condition(quantity),
            f"{item.condition} − {item.against}",
            str(item.n_participants),
            _with_interval(item.difference, item.difference_ci),
            _with_interval(item.ratio, item.ratio_ci),
        ]
        for procedure, quantity, item in results.conditions
    ]
    blocks = [
        text(
            "Where there is no reference, only the wearable's variability between cycles can be "
            "compared: it says how repeatable walking and wearable are together, not how right the "
            "angle is."
        ),
        *figure("conditions", figures),
        table(
            ("Procedure", "Quantity", "Comparison", "People", "Difference", "Ratio"),
            rows,
            words=3,
            caption="Paired within participants, with intervals in brackets; differences in degrees.",
        ),
    ]
    said = distinct(
        line for _, _, item in results.conditions for line in (item.note, *item.assumptions) if line
    )
    return [*blocks, bullets(said)] if said else blocks


def _quantity_of_condition(quantity: str) -> str:
    """Return the words for what conditions are compared by."""
    known = {
        "wearable_sd_deg": "wearable's SD over cycles",
        "reference_sd_deg": "reference's SD over cycles",
    }
    return known.get(quantity, quantity_name(quantity))


# ---------------------------------------------------------------- what was left out


def _exclusions(results: StudyResults) -> list[Block]:
    """Return trials left out or failed, dropped cycles by reason, and all warnings."""
    naming = Naming(results)
    blocks: list[Block] = []
    for status, title in (("excluded", "Excluded beforehand"), ("failed", "Failed")):
        rows = _status_rows(results, naming, status)
        blocks.append(heading(title))
        blocks.append(
            table(("Participant", "Recording", "Procedure", "Reason"), rows, words=4)
            if rows
            else text("None.")
        )
    blocks += [heading("Cycles left out"), *_reason_table(results)]
    blocks += [heading("Warnings"), *_warning_table(results, naming)]
    return blocks


def _status_rows(results: StudyResults, naming: Naming, status: str) -> list[list[str]]:
    """Return one row a recording and reason, its procedures joined."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for trial in results.trials:
        if trial.status == status:
            key = (trial.participant, naming.heading(trial), trial.reason)
            found.setdefault(key, []).append(trial.procedure)
    return [
        [code, name, ", ".join(filter(None, used)) or NOTHING, reason or "no reason given"]
        for (code, name, reason), used in found.items()
    ]


def _reason_table(results: StudyResults) -> list[Block]:
    """Return how many cycles were left out for each reason, by procedure."""
    names = procedures(results)
    tally: dict[str, dict[str, int]] = {}
    for trial in results.trials:
        for reason in trial.cycles.reason if trial.cycles is not None else ():
            if reason:
                row = tally.setdefault(reason_kind(reason), dict.fromkeys(names, 0))
                row[trial.procedure] += 1
    if not tally:
        return [text("None.")]
    rows = [[kind, *(str(row[name]) for name in names)] for kind, row in sorted(tally.items())]
    return [
        table(
            ("Reason", *names),
            rows,
            caption="Cycles left out, all recordings. Every one of them, with its time and reason, "
            "is in tables/exclusions.csv.",
        )
    ]


def reason_kind(reason: str) -> str:
    """Return a reason without its figures, so that like reasons are counted together.

    What follows a colon, an opening bracket or a semicolon is the single cycle's detail.
    """
    kind = reason
    for mark in (":", " (", ";"):
        kind = kind.split(mark, 1)[0]
    return kind.strip() or reason


def _warning_table(results: StudyResults, naming: Naming) -> list[Block]:
    """Return every warning once, with the recordings it was given for."""
    found: dict[str, list[str]] = {}
    for trial in results.trials:
        for line in warnings_of(trial):
            found.setdefault(line, []).append(
                f"{trial.participant} {naming.heading(trial)} ({trial.procedure})"
            )
    if not found:
        return [text("None.")]
    rows = [[line, _first_few(places)] for line, places in found.items()]
    return [table(("Warning", "Recordings"), rows, words=2)]


def _first_few(places: Sequence[str], limit: int = 4) -> str:
    """Return a few places and how many more there are."""
    shown = "; ".join(places[:limit])
    more = len(places) - limit
    return f"{shown}; and {more} more (tables/warnings.csv)" if more > 0 else shown


# ---------------------------------------------------------------- methods and provenance


def _methods(results: StudyResults) -> list[Block]:
    """Return the text for a paper, as in methods.txt."""
    paragraphs = methods_paragraphs(results)
    references = cited(paragraphs)
    blocks = [text(paragraph) for paragraph in paragraphs]
    return [*blocks, heading("References"), bullets(references)] if references else blocks


def _provenance(results: StudyResults) -> list[Block]:
    """Return every setting and every input file with its hash."""
    rows = [[name, value] for name, value in flat_parameters(results.parameters)]
    blocks: list[Block] = []
    if rows:
        blocks.append(table(("Parameter", "Value"), rows, words=2))
    files = [[file.path, file.sha256] for file in results.inputs]
    if files:
        blocks.append(heading("Input files"))
        blocks.append({**table(("File", "SHA-256"), files, words=2), "mono": True})
    return blocks


def flat_parameters(parameters: Mapping[str, object], prefix: str = "") -> list[tuple[str, str]]:
    """Return nested parameters as (joined name, shown value), in their own order."""
    found: list[tuple[str, str]] = []
    for key, value in parameters.items():
        name = f"{prefix}{key}"
        if isinstance(value, Mapping):
            found += flat_parameters(value, f"{name}.")
        elif value is None:
            found.append((name, "not set"))
        elif isinstance(value, list | tuple):
            found.append((name, ", ".join(map(str, value)) or "none"))
        else:
            found.append(
                (name, {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value))
            )
    return found
