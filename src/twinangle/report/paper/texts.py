"""The text of an article's methods and results, in sentences, from what was done and found.

`[fill in: …]` stands where only the authors know.
"""

from __future__ import annotations

import platform
from collections.abc import Sequence
from importlib.metadata import version

from twinangle.report.citations import Citation
from twinangle.report.methods import INVENTED, methods_paragraphs
from twinangle.report.paper.bibliography import numbered, reference_list
from twinangle.report.paper.rounded import alone, degrees_with_ends, with_ends
from twinangle.results import Absent, StudyResults, given, named
from twinangle.results.answer import (
    Counted,
    Rests,
    answer_of,
    n_analysed_by_any,
    rests_alike,
)
from twinangle.results.session_words import MAIN_FORM
from twinangle.wording import SD_FREED, count, listing, quantity_name, stated

LIBRARIES = ("numpy", "scipy", "pandas", "statsmodels", "vqf")
FOR_THE_AUTHORS = (
    "[fill in: ethics approval with its number, and how consent was given]",
    "[fill in: how participants were found, who could take part, and who could not]",
    "[fill in: make, model, firmware and stated accuracy of the sensors and of the reference]",
    "[fill in: where on the body both were placed, by whom, and how they were held]",
    "[fill in: route, floor, shoes, pace]",
    "[fill in: in which order conditions were recorded, and whether it was alternated]",
    "[fill in: whether whoever placed, recorded and cut had seen the other instrument's values]",
)
AVAILABILITY = (
    "[fill in: repository and identifier of the data, or why they cannot be shared]. The "
    "recordings and both instruments' angles on one clock can be written as a data set in "
    "Motion-BIDS with `twinangle export STUDY --to FOLDER`; every number stands unrounded in "
    "results.json and in the folder tables, and `twinangle verify` computes them again."
)


def methods_document(results: StudyResults) -> tuple[str, list[Citation]]:
    """Return the methods as Markdown, and the works they name."""
    paragraphs = [*methods_paragraphs(results), sample_size(results), _versions()]
    shown, works = numbered([each for each in paragraphs if each])
    asked = "\n".join(f"- {line}" for line in FOR_THE_AUTHORS)
    body = "\n\n".join(
        ["# Methods", *shown, "## What only the authors know", asked, "## Data availability",
         AVAILABILITY, "## References", "\n".join(reference_list(works))]
    )  # fmt: skip
    return body + "\n", works


def _versions() -> str:
    """Name the libraries beside which the pages were made."""
    libraries = listing(f"{name} {version(name)}" for name in LIBRARIES)
    return (
        f"This text was made beside Python {platform.python_version()}, {libraries}; the analysis "
        "used the same unless the pages were made again later."
    )


def sample_size(results: StudyResults) -> str:
    """Say how well the limits are known, and leave the reason for their number to the authors."""
    found = dict(named(results.limits))
    answer = answer_of(results)
    main = found.get((answer.procedure, answer.condition, "mean_deg"))
    asked = "[fill in: how the number of participants was chosen beforehand]."
    if main is None or main.limits.n_participants < 2:
        return f"Sample size: {asked}"
    limits = main.limits
    low = degrees_with_ends(limits.lower, limits.lower_ci)
    high = degrees_with_ends(limits.upper, limits.upper_ci)
    cycles = round(limits.n_observations / limits.n_participants)
    return (
        f"Sample size: {asked} With {count(limits.n_participants, 'participant')} and about "
        f"{cycles} cycles of each, the limits were {low} and {high}. From the SDs found "
        f"({alone(limits.sd_between)}° between and {alone(limits.sd_within)}° within participants) "
        "the size of a further study follows by simulation of the same analysis (`twinangle plan "
        f"--sd-between {limits.sd_between:.2f} --sd-within {limits.sd_within:.2f} --cycles "
        f"{cycles} --precision …`)."
    )


def results_document(results: StudyResults) -> str:
    """Return the results as Markdown."""
    parts: Sequence[tuple[str, list[str]]] = (
        ("", [INVENTED] if results.invented else []),
        ("Recordings", _recordings(results)),
        ("Limits of agreement", _limits(results)),
        ("Mean curves and variability", _curves(results)),
        ("Conditions", _conditions(results)),
        ("Procedures", _procedures(results)),
        ("Test and retest", _sessions(results)),
        ("Error budget", _budget(results)),
        ("Sensitivity", _sensitivity(results)),
    )
    lines = ["# Results"]
    for title, sentences in parts:
        if sentences:
            lines += [f"## {title}"] if title else []
            lines.append("\n".join(sentences) if len(sentences) == 1 else _listed(sentences))
    return "\n\n".join(lines) + "\n"


def _listed(sentences: Sequence[str]) -> str:
    return "\n".join(f"- {sentence}" for sentence in sentences)


def _recordings(results: StudyResults) -> list[str]:
    """Say how many recordings were analysed; one line for what rests on as much each."""
    answer, alike = answer_of(results), rests_alike(results)
    total = count(answer.n_recordings, "recording")
    if len(alike) < 2:
        text = (
            f"Of {total}, {answer.n_analysed} of {count(answer.n_participants, 'participant')} "
            f"were analysed, with {count(answer.n_cycles, 'cycle')}"
        )
        if not answer.n_with_reference:
            return [f"{text}. None had a reference: accuracy was not measured."]
        found = Counted(
            answer.n_participants_with_reference,
            answer.n_with_reference,
            answer.n_cycles_with_reference,
        )
        said = [f"{text}; {_held_against(found)}."]
    else:
        said = [f"Of {total}, {n_analysed_by_any(results)} were analysed in one way at least."]
        said += [_one_way(names, rests) for names, rests in alike]
    unseen = listing(f"“{name}”" for name in answer.without_reference if name)
    if unseen:
        said.append(f"Under {unseen} only the variability was compared; accuracy was not measured.")
    return said


def _one_way(names: Sequence[str], rests: Rests) -> str:
    """Say what the numbers of some procedures, each with its instruments, rest on."""
    worked = rests.worked
    text = (
        f"{listing(names)}: {worked.n_recordings} of {count(rests.n_recordings, 'recording')} were "
        f"analysed ({count(worked.n_participants, 'participant')}, "
        f"{count(worked.n_cycles, 'cycle')})"
    )
    text += f", {rests.n_failed} failed" if rests.n_failed else ""
    found = rests.with_reference
    return f"{text}; {_held_against(found) if found.n_recordings else 'none had a reference'}."


def _held_against(found: Counted) -> str:
    return (
        f"{found.n_recordings} had a reference ({count(found.n_participants, 'participant')}, "
        f"{count(found.n_cycles, 'cycle')})"
    )


def _where(*names: str) -> str:
    """Name condition and procedure, of which the first may have no name."""
    return ", ".join(name for name in names if name)


def _limits(results: StudyResults) -> list[str]:
    verdicts = dict(named(results.equivalence))
    said = []
    for key, found in named(results.limits):
        procedure, condition, quantity = key
        limits = found.limits
        who = (
            f"{count(limits.n_participants, 'participant')}, "
            f"{count(limits.n_observations, 'cycle')}"
        )
        text = (
            f"{quantity_name(quantity)} ({_where(condition, procedure)}; {who}): bias "
            f"{degrees_with_ends(limits.bias, limits.bias_ci)}, {100 * limits.coverage:g} % limits "
            f"of agreement {degrees_with_ends(limits.lower, limits.lower_ci)} and "
            f"{degrees_with_ends(limits.upper, limits.upper_ci)}"
        )
        claim = verdicts.get(key)
        if claim is not None:
            text += f"; against the margin of ±{stated(claim.margin)}°: {claim.verdict}"
        said.append(f"{text}.")
        if quantity == "mean_deg" and not isinstance(found.zeroed, Absent):
            said.append(
                f"Of this bias, {alone(found.bias_from_zero)}° is how the instruments' zeros "
                "differ in neutral standing."
            )
    return said


def _curves(results: StudyResults) -> list[str]:
    spread = dict(named(results.variability))
    said = []
    for key, curves in named(results.curves):
        text = (
            f"{_where(key[1], key[0])}: once each has lost its own mean, the mean curves differ by "
            f"{degrees_with_ends(curves.rms_demeaned, curves.rms_demeaned_ci)} RMS"
        )
        both = spread.get(key)
        if both is not None:
            text += (
                f"; the standard deviation over cycles, {SD_FREED}, is "
                f"{degrees_with_ends(both.test_sd, both.test_sd_ci)} of the wearable and "
                f"{degrees_with_ends(both.reference_sd, both.reference_sd_ci)} of "
                "the reference"
            )
        said.append(f"{text}.")
    return said


def _conditions(results: StudyResults) -> list[str]:
    return [
        f"{procedure}: the wearable's standard deviation over cycles under “{item.condition}” is "
        f"{with_ends(item.ratio, item.ratio_ci, '')} times that under “{item.against}”, a "
        f"difference of {degrees_with_ends(item.difference, item.difference_ci)} "
        f"({count(item.n_participants, 'participant')})."
        for (procedure, _, quantity), item in named(results.conditions)
        if quantity == "wearable_sd_deg"
    ]


def _sessions(results: StudyResults) -> list[str]:
    said = []
    for (procedure, condition, quantity), found in named(results.reliability):
        if found.design != "sessions" or isinstance(found.error, Absent):
            continue
        icc, error = found.form(MAIN_FORM), found.error
        said.append(
            f"{quantity_name(quantity)} ({_where(condition, procedure)}; the {found.instrument}; "
            f"{count(len(found.people), 'participant')}, {count(len(found.columns), 'session')}): "
            f"standard error of measurement {degrees_with_ends(error.sem, error.sem_ci)}, minimal "
            f"detectable change {degrees_with_ends(error.mdc, error.mdc_ci)}, {MAIN_FORM} (two-way "
            "random effects, absolute agreement, single measurement) "
            f"{with_ends(icc.value, icc.value_ci, '')}."
        )
    return said


def _procedures(results: StudyResults) -> list[str]:
    said = []
    for pooled, contest in given(results.ranking):
        for pair in contest.differences:
            apart = "cannot be told apart" if pair.tied else "differ"
            where = f"{pooled.condition}: " if pooled.condition else ""
            said.append(
                f"{where}{pair.first} and {pair.second} {apart} by that RMS (first minus second "
                f"{degrees_with_ends(pair.difference, (pair.lower, pair.upper))})."
            )
    return said


def _budget(results: StudyResults) -> list[str]:
    return [
        f"{_where(condition, procedure)}: of the mean squared difference of "
        f"{with_ends(budget.total, budget.total_ci, '')} deg², "
        f"{with_ends(budget.offset, budget.offset_ci, '')} deg² is a constant offset."
        for (procedure, condition, _), budget in named(results.budget)
    ]


def _sensitivity(results: StudyResults) -> list[str]:
    answer = answer_of(results)
    return [
        f"{quantity_name(key[2])}: the largest change comes of leaving out "
        f"{found.largest.participant}: bias by {alone(found.largest.bias_change)}°, limits by "
        f"{alone(found.largest.lower_change)}° and {alone(found.largest.upper_change)}°."
        for key, found in named(results.sensitivity)
        if key[:2] == (answer.procedure, answer.condition)
    ]
