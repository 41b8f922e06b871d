"""What people decided by hand, for which reasons, and the result without what they chose."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from twinangle.report.blocks import Block, heading, table, text
from twinangle.results import StudyResults
from twinangle.results.decided import DecisionRecord, WithoutDecisions
from twinangle.results.grouping import trial_groups
from twinangle.wording import NOTHING, count, listing, number, quantity_name, shortened

SHOWN = 6  # reasons in the report; the supplement has every decision
LONGEST = 60  # characters of one
QUANTITY = "peak_flexion_deg"  # whose limits stand in the report
_HEAD = (
    "Condition", "Procedure", "Decisions", "Recordings", "Cycles", "Offset", "RMS dem.",
    "SD wearable", "SD reference", "Limits, peak flexion",
)  # fmt: skip
_NUMBERS = ("offset_deg", "rms_demeaned_deg", "wearable_sd_deg", "reference_sd_deg")


def decisions_section(results: StudyResults) -> list[Block]:
    """Return in short what was decided by hand, and the result without what was chosen."""
    if not results.decisions:
        return []
    sentences = [
        _counted(results.decisions),
        _cycles(results),
        *_idle(results.decisions),
        blind_sentence(results.decisions),
    ]
    return [text(" ".join(filter(None, sentences))), *_without_table(results)]


def every_decision_section(results: StudyResults) -> list[Block]:
    """Return every decision, and every number with and without what was chosen."""
    if not results.decisions:
        return []
    rows = [
        [
            f"{one.id}, {one.who}",
            one.when.replace("T", " ").removesuffix("Z"),
            one.recording,
            one.words,
            one.why or NOTHING,
            ("yes" if one.counts else f"no: {one.why_not}")
            + (", agreement hidden" if one.agreement_hidden else ""),
        ]
        for one in results.decisions
    ]
    head = ("No., who", "When (UTC)", "Recording", "Decided", "Why", "Counts")
    caption = (
        "Every decision in the order it was made, also those taken back. A later one stands over "
        "an earlier one on the same thing; all are in tables/decisions.csv."
    )
    return [table(head, rows, words=6, caption=caption), *_every_number(results)]


def decisions_paragraph(results: StudyResults) -> str:
    """Return the sentences of the methods text; empty where nothing was decided that counts."""
    acting = [one for one in results.decisions if one.counts and _kind(one) in _KINDS]
    if not acting:
        return ""
    text = f"{_counted(results.decisions)} Each was recorded with its reason before this analysis."
    if results.without_decisions:
        text += " The result without the decisions on cycles and recordings is given beside it."
    return f"{text} {blind_sentence(results.decisions)}".rstrip()


def decisions_told(results: StudyResults) -> str:
    """Say on a terminal what was decided by hand, and where the result without it stands."""
    if not results.decisions:
        return ""
    where = "Each is in tables/decisions.csv"
    if results.without_decisions:
        where += "; the result without those on cycles and recordings is in the report"
    return " ".join([_counted(results.decisions), *_idle(results.decisions), f"{where}."])


def blind_sentence(decisions: Iterable[DecisionRecord]) -> str:
    """Say how far the agreement was hidden while cycles and recordings were chosen."""
    chosen = [one for one in decisions if one.chooses]
    hidden = sum(one.agreement_hidden for one in chosen)
    if not chosen:
        return ""
    what = "The agreement of the instruments (difference, offset, RMS) was"
    if hidden == len(chosen):
        return f"{what} hidden while cycles and recordings were chosen."
    if not hidden:
        return f"{what} in view while cycles and recordings were chosen."
    return (
        f"{what} hidden for {hidden} of the {count(len(chosen), 'decision')} on cycles and "
        "recordings, and in view for the others."
    )


def _counted(decisions: Sequence[DecisionRecord]) -> str:
    """Say how many decisions of which kind count, and whose."""
    counts: Counter[str] = Counter()
    for one in decisions:
        if one.counts:
            counts[_kind(one)] += 1
    parts = [count(counts[name], *words) for name, words in _KINDS.items() if counts[name]]
    people = len({one.who for one in decisions})
    whose = f"{count(people, 'person', 'people')} decided on recordings while looking at them"
    some = sum(one.counts and one.kind == "recording" and _names_some(one) for one in decisions)
    alone = f" {count(some, 'decision')} on a recording {_are(some)} of some instruments alone."
    return f"{whose}; what counts: {listing(parts) or 'nothing'}.{alone if some else ''}"


def _names_some(one: DecisionRecord) -> bool:
    return bool(one.wearable or one.reference_name)


_KINDS: Mapping[str, tuple[str, str]] = {
    "lag": ("lag", "lags"),
    "interval": ("interval", "intervals"),
    "cycle False": ("cycle out", "cycles out"),
    "cycle True": ("cycle in", "cycles in"),
    "recording False": ("recording out", "recordings out"),
}


def _kind(one: DecisionRecord) -> str:
    return one.kind if one.use is None else f"{one.kind} {one.use}"


def _cycles(results: StudyResults) -> str:
    """Say for which reasons cycles are out by hand, and what became of those taken in."""
    reasons = Counter(
        one.why for one in results.decisions if one.counts and _kind(one) == "cycle False"
    )
    shown = [f"“{shortened(why, LONGEST)}” ({n})" for why, n in reasons.most_common(SHOWN)]
    more = len(reasons) - len(shown)
    if more > 0:
        shown.append(count(more, "further reason"))
    several = [group.main.chosen for group in trial_groups(results)]
    chosen = [one for one in several if one is not None]
    back, others = sum(one.back_in for one in chosen), sum(one.others for one in chosen)
    return " ".join(
        filter(
            None,
            (
                f"Cycles are out by hand for the reasons {listing(shown)}." if shown else "",
                f"{count(back, 'cycle')} that a rule left out {_are(back)} back in by hand."
                if back
                else "",
                f"Beside those chosen the rules judge {count(others, 'further cycle')} otherwise."
                if others
                else "",
            ),
        )
    )


def _idle(decisions: Iterable[DecisionRecord]) -> list[str]:
    """Say how many decisions nobody took back and that are still not applied."""
    idle = [
        one
        for one in decisions
        if not one.counts
        and one.kind in ("lag", "interval", "cycle", "recording")
        and not one.why_not.startswith("undone")
        and not one.why_not.endswith("stands over it")
    ]
    if not idle:
        return []
    n = count(len(idle), "decision")
    return [f"{n} {_are(len(idle))} not applied, for the reasons that the supplement gives."]


def _are(n: int) -> str:
    return "is" if n == 1 else "are"


def _without_table(results: StudyResults) -> list[Block]:
    """Return the main numbers with what was chosen and without it, a row each."""
    found: dict[tuple[str, str], dict[str, WithoutDecisions]] = {}
    for one in results.without_decisions:
        found.setdefault((one.condition, one.procedure), {})[one.quantity] = one
    rows: list[list[str]] = []
    for (condition, procedure), by_name in found.items():
        first = next(iter(by_name.values()))
        for with_them in (True, False):
            n = (first.n_recordings, first.n_cycles)
            n = n if with_them else (first.n_recordings_without, first.n_cycles_without)
            cells = [number(_value(by_name, name, with_them)) for name in _NUMBERS]
            names = [condition, procedure] if with_them else ["", ""]
            kind = "with" if with_them else "without"
            rows.append([*names, kind, *map(str, n), *cells, _limits(by_name, with_them)])
    if not rows:
        return []
    caption = (
        "The result as it is, with every decision, and without those on cycles and recordings, "
        "degrees. A lag or an interval decided by hand is in both. Every number: "
        "tables/without_decisions.csv."
    )
    return [
        heading("The result without what was chosen"),
        table(_HEAD, rows, words=3, caption=caption),
    ]


def _value(by_name: Mapping[str, WithoutDecisions], name: str, with_them: bool) -> float | None:
    one = by_name.get(name)
    if one is None:
        return None
    return one.value if with_them else one.without


def _limits(by_name: Mapping[str, WithoutDecisions], with_them: bool) -> str:
    ends = [_value(by_name, f"{end}_deg of {QUANTITY}", with_them) for end in ("lower", "upper")]
    low, high = (number(end) for end in ends)
    return NOTHING if NOTHING in (low, high) else f"{low} to {high}"


def _every_number(results: StudyResults) -> list[Block]:
    rows = [
        [
            one.condition,
            one.procedure,
            _named(one.quantity),
            number(one.value),
            number(one.without),
            number(one.change, sign=True),
        ]
        for one in results.without_decisions
    ]
    if not rows:
        return []
    return [
        heading("Every number without what was chosen"),
        table(
            ("Condition", "Procedure", "Number", "As it is", "Without", "Change"),
            rows,
            words=3,
            caption="Numbers with every decision, and without those on cycles and recordings; "
            "angles in degrees.",
        ),
    ]


def _named(quantity: str) -> str:
    """Return a number's name without its unit."""
    name, _, of = quantity.partition(" of ")
    if name == "ratio":
        of, _, against = of.partition(" to ")
        return f"Ratio of {_NAMES.get(of, of)} to {against}"
    if not of:
        return _NAMES.get(name, quantity_name(name))
    return f"{_NAMES.get(name, name)}, {quantity_name(of).lower()}"


_NAMES = {
    "rms_demeaned_deg": "RMS demeaned",
    "wearable_sd_deg": "SD wearable",
    "reference_sd_deg": "SD reference",
    "bias_deg": "Bias",
    "lower_deg": "Lower limit",
    "upper_deg": "Upper limit",
}
