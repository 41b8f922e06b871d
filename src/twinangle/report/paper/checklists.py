"""Checklists of reporting guidelines: each item in our own words, and where it is answered.

The lists were looked up: GRRAS (Kottner et al. 2011) in reprints of its table; the items for
Bland-Altman analyses, of which Abu-Arafeh et al. 2016 chose most, in Gerke's table of seven
proposals (Gerke 2020); the design standards of COSMIN in the table of Mokkink et al. 2020. COSMIN's
standards of statistics are from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from twinangle.report.citations import register_of_citations
from twinangle.results import StudyResults, given

AUTHORS = "for the authors"
NOT_HERE = "does not apply: nobody rates, both instruments measure"
Answer = Callable[[StudyResults], str]


@dataclass(frozen=True, slots=True)
class Item:
    """One item: its number in the list, what it asks, and where it is answered."""

    number: str
    asks: str
    answer: str | Answer
    from_memory: bool = False


@dataclass(frozen=True, slots=True)
class Checklist:
    """A list of items from one source or several."""

    name: str
    title: str
    sources: tuple[str, ...]  # keys in the register of citations
    items: tuple[Item, ...]


def _margin(results: StudyResults) -> str:
    if results.options.margin_deg is None:
        return f"no margin was stated in the study file; {AUTHORS}"
    return "methods.md (the margin); tables/limits_of_agreement (the verdict)"


def _repeated(results: StudyResults) -> str:
    if given(results.reliability):
        return "supplement, “Reliability”; tables/variability"
    return "tables/variability (cycles of one recording); repeated recordings: none"


def _error(results: StudyResults) -> str:
    where = "tables/limits_of_agreement"
    return f"{where}; supplement, “Reliability”" if given(results.reliability) else where


def _icc(results: StudyResults) -> str:
    if given(results.reliability):
        return "supplement, “Reliability”: ICC(2,1) and ICC(3,1) with intervals, form named"
    return "not computed: nothing repeated, or too few participants"


def _without(results: StudyResults) -> str:
    limits = "figures/distribution; supplement, “Limits of agreement in full”"
    if given(results.sensitivity):
        return f"{limits}; tables/without_each_participant"
    return limits


GRRAS = Checklist(
    "grras",
    "GRRAS: reporting reliability and agreement",
    ("kottner-2011",),
    (
        Item("1", "Title or abstract says that agreement or reliability was studied", AUTHORS),
        Item("2", "The instruments are named and described",
             "methods.md in part (what was computed from them); make and model: for the authors"),
        Item("3", "From which people the participants come", AUTHORS),
        Item("4", "From which raters the raters come", NOT_HERE),
        Item("5", "What is known already, and why this study", AUTHORS),
        Item("6", "How the numbers of participants, instruments and repetitions were chosen",
             "methods.md, “Sample size” (precision reached); the choice: for the authors"),
        Item("7", "How participants were sampled", AUTHORS),
        Item("8", "How measuring went: intervals, conditions, who knew what",
             "methods.md in part (clocks, cycles, conditions); the rest: for the authors"),
        Item("9", "Whether the measurements were independent of each other",
             "methods.md: both instruments recorded by themselves, one clock found afterwards; "
             "the axis and the zero as stated there"),
        Item("10", "The statistics", "methods.md"),
        Item("11", "How many people, instruments and repetitions there were in the end",
             "results.md, “Recordings”; tables/participants"),
        Item("12", "What the participants were like",
             "tables/participants and tables/characteristics, as far as the trials table has it"),
        Item("13", "Estimates with their uncertainty",
             "results.md; tables/limits_of_agreement, tables/curves, tables/variability"),
        Item("14", "What the numbers mean in practice", AUTHORS),
        Item("15", "Detailed results", "supplement.pdf, results.json, the folder tables"),
    ),
)  # fmt: skip
BLAND_ALTMAN = Checklist(
    "bland_altman",
    "Items for reporting Bland-Altman analyses",
    ("abu-arafeh-2016", "gerke-2020"),
    (
        Item("1", "A margin of acceptable difference set beforehand", _margin),
        Item("2", "How the data are built: people, repetitions, conditions",
             "methods.md; tables/participants"),
        Item("3", "Repeatability of each instrument, where it can be had", _repeated),
        Item("4", "Plots, looked at for normality, trend and even spread",
             "figures/limits_… and figures/distribution"),
        Item("5", "A transformation, where those plots ask for one",
             "supplement, “Limits of agreement in full”: ratios and lines on the size"),
        Item("6", "Bias, drawn and in numbers", "figures/limits_…; tables/limits_of_agreement"),
        Item("7", "How exact the bias is: its interval, or the SD of the differences",
             "tables/limits_of_agreement"),
        Item("8", "Limits of agreement, drawn and in numbers",
             "figures/limits_…; tables/limits_of_agreement"),
        Item("9", "Intervals of the limits", "tables/limits_of_agreement"),
        Item("10", "Whether the range measured is wide enough",
             "figures/limits_… (the axis of means); a judgement: for the authors"),
        Item("11", "Variance between and within people, or intervals that respect the structure",
             "tables/limits_of_agreement (SD between, SD within); methods.md"),
        Item("12", "The software", "methods.md, with versions"),
        Item("13", "What was assumed of the distribution, and what hangs on single people",
             _without),
        Item("14", "How the sample size was reasoned",
             "methods.md, “Sample size”; for the authors"),
        Item("15", "What stands on the horizontal axis", "figures/limits_…: mean of both"),
        Item("16", "Conflicts of interest", AUTHORS),
    ),
)  # fmt: skip
COSMIN = Checklist(
    "cosmin",
    "COSMIN: standards for studies of reliability or measurement error",
    ("mokkink-2020",),
    (
        Item("1", "Participants did not change between the measurements",
             "both instruments were worn at the same time; between sessions: for the authors"),
        Item("2", "The time between measurements was suitable",
             "none between the instruments; between sessions: for the authors"),
        Item("3", "Conditions were alike but for what is compared",
             "the same walk for both instruments; otherwise for the authors"),
        Item("4", "Who measured did not know the other values", AUTHORS),
        Item("5", "Who computed the values did not know the other values",
             "both were computed by fixed rules (methods.md); settings chosen in knowledge of the "
             "results: for the authors"),
        Item("6", "No other important flaw", AUTHORS),
        Item("7", "For reliability: an intraclass correlation, its form named", _icc, True),
        Item("8", "For measurement error: SEM, smallest detectable change or limits of agreement",
             _error, True),
    ),
)  # fmt: skip
CHECKLISTS = (GRRAS, BLAND_ALTMAN, COSMIN)


def checklist_document(checklist: Checklist, results: StudyResults) -> str:
    """Return a checklist as Markdown: item, and where it is answered."""
    register = register_of_citations()
    lines = [
        f"# {checklist.title}",
        "",
        "Items in our own words. “For the authors” is what no program can know.",
        "",
        "| Item | What is asked | Where it is answered |",
        "|---|---|---|",
    ]
    for item in checklist.items:
        mark = " (item from memory)" if item.from_memory else ""
        lines.append(f"| {item.number} | {item.asks}{mark} | {_answered(item, results)} |")
    lines += ["", "Source: " + " ".join(register[key].reference() for key in checklist.sources)]
    return "\n".join(lines) + "\n"


def _answered(item: Item, results: StudyResults) -> str:
    return item.answer if isinstance(item.answer, str) else item.answer(results)


def checklist_files(results: StudyResults) -> dict[str, str]:
    """Return every checklist by its file's name."""
    found: Sequence[Checklist] = CHECKLISTS
    return {f"{each.name}.md": checklist_document(each, results) for each in found}
