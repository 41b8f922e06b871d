"""Paragraphs fit for a paper's methods section, with this run's settings and counts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from twinangle.agreement.limits import OWN_INTERVAL
from twinangle.cautions import to_be_stated
from twinangle.report.citations import citations
from twinangle.report.grouping import conditions, distinct, participants, procedures, trial_groups
from twinangle.report.wording import NO_MARGIN, count, listing, span, stated
from twinangle.results import Absent, StudyResults, TrialResult, given
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Synchronisation

# How the text names a work, by the work's key in the register of citations.
_NAMED = {
    "aminian-2002": "Aminian et al. 2002",
    "berger-hsu-1996": "Berger & Hsu 1996",
    "bland-altman-1999": "Bland & Altman 1999",
    "bland-altman-2007": "2007",
    "kobayashi-salam-2000": "Kobayashi & Salam 2000",
    "koenig-2014": "König et al. 2014",
    "lin-1989": "Lin 1989",
    "mcginley-2009": "McGinley et al. 2009",
    "mcgraw-wong-1996": "McGraw & Wong 1996",
    "shrout-fleiss-1979": "Shrout & Fleiss 1979",
    "weir-2005": "Weir 2005",
    "zou-2013": "Zou 2013",
}

INVENTED = (
    "The data are invented: no person was recorded, and nothing below may be reported as a study "
    "of people."
)

_SYNCHRONISATION = {
    "cross-correlation": "by normalised cross-correlation of the two angles, lag and drift by "
    "generalised least squares",
    "cross-correlation, gyroscopes": "by normalised cross-correlation of the two angles, the lag "
    "then from the gyroscopes of both sensors",
    "event": "by movements made for the purpose (a jump, a stamp or heel taps)",
    "event, gyroscopes": "by movements made for the purpose (a jump, a stamp or heel taps), the "
    "lag then from the gyroscopes of both sensors",
    "trigger": "by a trigger recorded on both",
    "shared-clock": "by construction, as both were recorded on one clock",
    "manual": "by a lag given in the study file",
}
_CYCLES = {
    "shank-gyroscope": "from the distal segment's sagittal angular rate (mid-swing peak, then "
    "initial contact; Aminian et al. 2002)",
    "angle-peak": "between successive peaks of the joint angle",
    "events": "from a list of event times",
}


def methods_text(results: StudyResults) -> str:
    """Return the whole text of `methods.txt`: paragraphs, then the references they name."""
    paragraphs = methods_paragraphs(results)
    listed = cited(paragraphs)
    return "\n\n".join([*paragraphs, "References", *listed]) + "\n"


def cited(paragraphs: tuple[str, ...]) -> tuple[str, ...]:
    """Return the references that the paragraphs name, in alphabetical order."""
    text = " ".join(paragraphs)
    named = (key for key, mark in _NAMED.items() if mark in text)
    return tuple(sorted(citations()[key].reference() for key in named))


def methods_paragraphs(results: StudyResults) -> tuple[str, ...]:
    """Return the paragraphs, each on one step, leaving out steps the run did not take."""
    found = (
        INVENTED if results.invented else "",
        _material(results),
        _angles(results),
        _clocks(results),
        _cycles(results),
        _curves(results),
        _limits(results),
        _conditions(results),
        _reliability(results),
        _software(results),
        _people(results),
    )
    return tuple(text for text in found if text)


def setting(results: StudyResults, *path: str) -> Any:
    """Return a parameter of the run by its path, or None where it is not recorded."""
    value: Any = results.parameters
    for key in path:
        if not isinstance(value, Mapping) or key not in value:
            return None
        value = value[key]
    return value


def _worked(results: StudyResults) -> list[TrialResult]:
    """Return the main result of every trial that worked."""
    return [group.main for group in trial_groups(results) if group.main.status == "ok"]


def _material(results: StudyResults) -> str:
    """Say who was recorded, where, and how many recordings entered."""
    groups = trial_groups(results)
    worked = _worked(results)
    paired = [trial for trial in worked if trial.agreement is not None]
    left = len(groups) - len(worked)
    people = len(participants(results))
    text = (
        f"{joint_named(results.joint).label} was measured with inertial sensors on the segments "
        f"on either side of the joint in {count(people, 'participant')} "
        f"({listing(name or 'one condition' for name in conditions(results))}). "
        f"Of {count(len(groups), 'recording')}, {len(worked)} could be analysed"
    )
    if left:
        text += f" and {left} were excluded beforehand or could not be analysed (see exclusions)"
    if not worked:
        return f"{text}."
    if paired:
        return f"{text}; a reference instrument was worn at the same time in {len(paired)}."
    return f"{text}; no reference instrument was worn, so no agreement is given."


_AXES = {
    "mean-rate": "mean angular velocity of the joint in the functional movement",
    "principal-component": "principal component of the joint's angular velocity",
    "hinge": "hinge that both segments' angular velocities fit best",
}


def _axis(results: StudyResults) -> str:
    """Say in brackets how the axis was found and what neutral standing counts as."""
    found = _AXES.get(str(setting(results, "wearable", "axis_method")))
    if found is None:
        return ""
    if setting(results, "wearable", "standing_from_reference"):
        standing = "the reference's mean there"
    else:
        standing = f"{setting(results, 'wearable', 'standing_deg'):g}°"
    return f" ({found}; flexion in neutral standing counts as {standing} unless a trial states it)"


def _angles(results: StudyResults) -> str:
    """Say how the two angles came about."""
    kind = setting(results, "wearable", "kind")
    names = listing(procedures(results))
    text = "Angles are in degrees, flexion positive. "
    if kind == "inertial":
        sample = setting(results, "wearable", "gyroscope_sample")
        text += (
            "The wearable's flexion was computed from the raw signals: orientation of both sensors "
            f"(procedure: {names}), relative orientation against neutral standing, and "
            f"rotation about the functional flexion axis{_axis(results)}"
        )
        text += f"; gyroscope samples were taken as {sample} rates." if sample else "."
    elif kind == "orientation":
        text += (
            "The wearable's flexion was computed from the orientations it delivered (procedure: "
            f"{names}): relative orientation against neutral standing, and rotation about the "
            f"functional flexion axis{_axis(results)}."
        )
    else:
        text += f"The wearable's angle was used as delivered or computed (procedure: {names})."
    low_pass = setting(results, "reference", "filter_hz")
    if isinstance(low_pass, float | int):
        text += (
            f" The reference's angle was low-pass filtered at {low_pass:g} Hz without phase shift."
        )
    return text


def _clocks(results: StudyResults) -> str:
    """Say how the clocks were brought together, and what was found."""
    clocks = [t.synchronisation for t in _worked(results) if t.synchronisation is not None]
    if not clocks:
        return ""
    methods = distinct(clock.method for clock in clocks)
    how = listing(_SYNCHRONISATION.get(method, f"by {method}") for method in methods)
    text = (
        f"The two instruments' clocks were brought together {how}. The lag added to the reference "
        f"clock was {span((clock.lag_s for clock in clocks), 3)} s over recordings"
    )
    drifts = span((clock.drift_ppm for clock in clocks), 1)
    text += f" and the relative drift {drifts} ppm" if drifts != "–" else ""
    peaks = span((clock.peak_correlation for clock in clocks), 3)
    text += f"; the peak correlation was {peaks}" if peaks != "–" else ""
    return text + "." + _lag_errors(results, clocks)


def _lag_errors(results: StudyResults, clocks: list[Synchronisation]) -> str:
    """Say how well the lags are known, and how the gyroscopes' lag compares."""
    text = ""
    errors = span((1e3 * clock.centre_lag_se_s for clock in clocks), 2)
    if errors != "–":
        text += f" The lag's total standard error at the middle of the overlap was {errors} ms"
        systematic = span((1e3 * clock.lag_systematic_s for clock in clocks), 2)
        text += (
            f", of which {systematic} ms is what a difference repeated every cycle may cause "
            "(own rule, checked by simulation; parts add up in quadrature)."
            if systematic != "–"
            else "."
        )
    checks = [t.gyroscope_lag.get("difference_s") for t in _worked(results)]
    apart = span((1e3 * each for each in checks if isinstance(each, float)), 1)
    if apart != "–":
        text += (
            " The lag by the angle less that by the sensors' gyroscopes, which is the delay of the "
            f"procedure that computes the angle, was {apart} ms."
        )
    return text


def _cycles(results: StudyResults) -> str:
    """Say how cycles were found, cut and excluded, with counts."""
    sets = [t.cycles for t in _worked(results) if t.cycles is not None]
    if not sets:
        return ""
    how = listing(
        _CYCLES.get(method, f"by {method}") for method in distinct(c.method for c in sets)
    )
    found = sum(cycles.kept.size for cycles in sets)
    kept = sum(int(cycles.kept.sum()) for cycles in sets)
    points = sets[0].wearable_deg.shape[1]
    per_trial = span((float(cycles.kept.sum()) for cycles in sets), 0)
    return (
        f"Movement cycles were found {how}; both instruments were cut by the same events on one "
        f"clock and time-normalised to {points} points (0 to 100 %). Of {count(found, 'cycle')} "
        f"found, {kept} were kept ({per_trial} a recording); turns, starts, stops and cycles of "
        "odd duration or course were left out, each with its reason. Fewer than 10 cycles for a "
        "mean or 50 for a variability were warned of: what spatio-temporal parameters of "
        "consecutive cycles need to be reliable (König et al. 2014), taken over for angles by "
        "analogy."
    )


def _curves(results: StudyResults) -> str:
    """Say how mean curves were compared."""
    text = (
        "Variability between cycles is the standard deviation over cycles at each point (n − 1), "
        "averaged over the points."
    )
    if not any(trial.agreement is not None for trial in results.trials):
        return text
    return (
        "Differences are wearable minus reference. The mean curves were compared by their offset "
        "(difference of the curves' means), the root mean square of their difference once each "
        "curve was demeaned, and the difference of their ranges; the mean squared difference is "
        "the sum of its parts from offset, spread and pattern (Kobayashi & Salam 2000). Intervals "
        "of a recording's own numbers are over its cycles (jackknife, serial correlation counted); "
        "over participants, Student's t was used on their means, of Fisher's z for the "
        "correlation; the RMS is averaged arithmetically, its interval is on a logarithmic scale. "
        f"{text}"
    )


def _limits(results: StudyResults) -> str:
    """Say how limits of agreement came about, in the words of the computation itself."""
    known = [found.limits for _, found in given(results.limits)]
    if not known:
        return ""
    first = known[0]
    people = max(limits.n_participants for limits in known)
    who = (
        f"with participants as clusters ({people} participants)"
        if people > 1
        else "within the one participant"
    )
    return (
        f"{100 * first.coverage:g} % limits of agreement (Bland & Altman 1999, 2007) were computed "
        f"for the mean over the cycle, peak flexion and range of each cycle, {who}. Form of the "
        f"limits: {first.method}; the bias weights {first.weighting}; {results.options.level} "
        f"intervals: {first.interval_method}.{_whose_interval(results)}{_zeroed(results)} "
        f"{_margin(results)} For "
        "orientation, errors of 2° or less are thought highly likely acceptable in clinical gait "
        "analysis, 2 to 5° probably reasonable, and more than 5° may mislead (McGinley et al. "
        "2009; wording from memory, to be compared with the paper)."
    )


def _whose_interval(results: StudyResults) -> str:
    """Say that the interval of a limit is no published one where it is not, and what is beside."""
    found = [each for _, each in given(results.limits)]
    text = ""
    if any(each.limits.interval_method == OWN_INTERVAL for each in found):
        text = (
            " This interval of a limit is the analysing software's own method, which no paper "
            "describes: it joins the intervals of bias, variance between and variance within "
            "participants (after Zou 2013) and is widened for heavy tails and skewness; its "
            "coverage was simulated and is stated in the software's documentation."
        )
    if any(each.published is not None for each in found):
        text += (
            " Beside it stand limits with one variance within participants pooled over all and "
            "intervals by recovery of variances (MOVER; Zou 2013)."
        )
    return text


def _margin(results: StudyResults) -> str:
    """Say which margin was stated beforehand, or that none was."""
    margin = results.options.margin_deg
    if margin is None:
        return f"{NO_MARGIN.capitalize()} beforehand, so nothing was tested against one."
    return (
        f"A difference of ±{stated(margin)}° was set beforehand as acceptable. Limits were called "
        f"inside this margin where both, with their {results.options.level} intervals, lay within "
        "it (an intersection-union rule; Berger & Hsu 1996), outside where one lay beyond it with "
        "its whole interval, and undecided otherwise."
    )


def _zeroed(results: StudyResults) -> str:
    """Say that limits are also given with both instruments zeroed."""
    if all(isinstance(found.zeroed, Absent) for _, found in given(results.limits)):
        return ""
    return (
        " Bias and limits are given of the angles as recorded and once more with both instruments "
        "zeroed at neutral standing, each instrument's mean angle there taken off every recording."
    )


def _conditions(results: StudyResults) -> str:
    """Say how conditions were compared."""
    if not given(results.conditions):
        return ""
    pairs = distinct(
        f"{item.condition} with {item.against}" for _, item in given(results.conditions)
    )
    people = span((float(item.n_participants) for _, item in given(results.conditions)), 0)
    return (
        f"Conditions were compared ({listing(pairs)}) by the wearable's variability between "
        f"cycles, paired within participants ({people} participants), as a difference and as a "
        f"ratio with {results.options.level} intervals.{_windows(results)}"
        f"{_adjusted(results)}"
    )


def _windows(results: StudyResults) -> str:
    """Say how standard deviations over unlike numbers of cycles were made comparable."""
    found = [item for _, item in given(results.conditions) if item.most_window]
    if not found:
        return ""
    fewest, most = min(i.fewest_window for i in found), max(i.most_window for i in found)
    over = f"{fewest}" if fewest == most else f"{fewest} to {most}"
    alone = any(item.interval_over == "cycles of one participant" for item in found)
    how = (
        "intervals are over the one participant's cycles"
        if alone
        else "intervals are those of the delete-one-participant jackknife"
    )
    return (
        f" Standard deviations were taken over all runs of {over} consecutive cycles, as many in "
        "both conditions of a participant, and freed of what a standard deviation over so few "
        "cycles falls short at each condition's serial correlation (first order); "
        f"{how} (own combination, coverage simulated)."
    )


def _adjusted(results: StudyResults) -> str:
    """Say what was held equal between conditions, and how."""
    words = {"speed_m_s": "walking speed", "stride_time_s": "stride time"}
    names = distinct(
        words.get(r.covariates, r.covariates) for _, r in given(results.conditions_adjusted)
    )
    if not names:
        return ""
    return (
        f" The ratio at equal {listing(names)} came from mixed models of its logarithm with "
        "participants as random effect, fitted by restricted maximum likelihood."
    )


def _reliability(results: StudyResults) -> str:
    """Say which intraclass correlations were computed, over what."""
    parts = [found for _, found in given(results.reliability)]
    if not parts:
        return ""
    designs = listing(distinct(item.design for item in parts))
    again = listing(distinct(item.design for item in parts if not isinstance(item.error, Absent)))
    error = (
        " by the standard error of measurement and the minimal detectable change of one instrument "
        f"over {again} (Weir 2005),"
        if again
        else ""
    )
    return (
        f"Reliability over {designs} was described by the intraclass correlations ICC(2,1) "
        "(two-way random effects, absolute agreement, single measurement) and ICC(3,1) (two-way "
        "mixed effects, consistency, single measurement; Shrout & Fleiss 1979, intervals McGraw & "
        f"Wong 1996),{error} and by the concordance correlation (Lin 1989); none of them is a "
        "measure of agreement."
    )


def _people(results: StudyResults) -> str:
    """Leave a place for what the authors alone know: whom they spared, and how they took care."""
    asked = []
    methods = {t.synchronisation.method for t in _worked(results) if t.synchronisation is not None}
    if any(method.startswith("event") for method in methods):
        asked.append("the synchronising movements")
    if setting(results, "wearable", "kind") in ("inertial", "orientation"):
        asked.append("the functional movement")
    return to_be_stated(tuple(asked))


def _software(results: StudyResults) -> str:
    """Name the program and what was recorded of the run."""
    return (
        f"Computations were made with twinangle {results.version}; settings and the SHA-256 of "
        "every input file are in the report and in results.json."
    )
