"""Clocks: lag, drift and their errors, and the paragraph of the methods."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping

from twinangle.clocks import GyroscopeLag
from twinangle.options import Options
from twinangle.report.blocks import Block, Column, described, heading, with_interval
from twinangle.results import StudyResults, TrialResult
from twinangle.results.clock_found import ClockFound
from twinangle.results.grouping import Naming, worked_recordings
from twinangle.signals.recording import Synchronisation
from twinangle.wording import NOTHING, count, listing, number, span

_METHODS = {
    "cross-correlation": "by normalised cross-correlation of the two angles, lag and drift by "
    "generalised least squares, the drift weighed against what crystal clocks do",
    "cross-correlation, gyroscopes": "by normalised cross-correlation of the two angles, the lag "
    "then from the gyroscopes of both sensors",
    "event": "by movements made for the purpose (a jump, a stamp or heel taps)",
    "event, gyroscopes": "by movements made for the purpose (a jump, a stamp or heel taps), the "
    "lag then from the gyroscopes of both sensors",
    "trigger": "by a trigger recorded on both",
    "shared-clock": "by construction, as both were recorded on one clock",
    "manual": "by a lag given in the study file",
}
_STATED = ("shared-clock", "trigger", "manual")  # lags that do not come from the angle


def clocks_blocks(trials: Iterable[TrialResult], naming: Naming, options: Options) -> list[Block]:
    """Return lag and drift with their errors, and what the lag's error does to the RMS."""
    rows = []
    for trial in trials:
        clock, cost = trial.synchronisation, trial.timing_cost
        if clock is None:
            continue
        rows.append(
            [
                trial.participant,
                naming.heading(trial),
                number(clock.lag_s, 4),
                number(1e3 * _lag_error(clock), 2),
                _drift(clock, trial.clock),
                _by_gyroscopes(trial),
                number(clock.peak_correlation, 3),
                number(clock.runner_up_correlation, 3),
                number(clock.evidence, 1),
                number(None if cost is None else cost.change_deg),
            ]
        )
    columns = (
        Column("Participant"),
        Column("Recording"),
        Column("Lag (s)", "lag: at time 0 of the reference"),
        Column(
            "SE (ms)",
            "SE: total standard error of the lag in the middle of the overlap, of the scatter and, "
            "mostly, of a difference of the instruments that repeats every cycle, judged from what "
            "of it shows as range and pattern, since of a delay's shape it cannot be told",
        ),
        Column("Drift (ppm)", f"in brackets behind the drift its {options.level} interval"),
        Column(
            "Angle − gyr. (ms)",
            "angle − gyr.: lag by the angle minus lag by the gyroscopes, above 0 where the "
            f"procedure delays the angle, with its {options.level} interval",
        ),
        Column("Peak r"),
        Column("Runner-up r"),
        Column("Evidence", "evidence: log likelihood ratio against the best rival cycle"),
        Column(
            "RMS ± (°)",
            "RMS ±: how far the RMS of the demeaned curves moves when the lag moves by its SE; a "
            "lag found by the angle has made that RMS smaller already",
        ),
    )
    found = described("How the clocks were brought together.", columns, rows, words=2)
    return [heading("Clocks"), *found] if found else []


def _lag_error(clock: Synchronisation) -> float:
    """Return the total error that counts for the curves: in the middle, where it is known."""
    centre = clock.centre_lag_se_s
    return centre if math.isfinite(centre) else clock.lag_se_s


def _drift(clock: Synchronisation, found: ClockFound | None) -> str:
    if found is None or not all(map(math.isfinite, found.drift_ci)):
        return number(clock.drift_ppm, 1)
    return with_interval(clock.drift_ppm, found.drift_ci, 1)


def _by_gyroscopes(trial: TrialResult) -> str:
    """Return the angle's lag minus the gyroscopes', with its interval; empty where unknown."""
    found = trial.gyroscope_lag
    if not isinstance(found, GyroscopeLag):
        return NOTHING
    low, high = (1e3 * end for end in found.difference_ci_s)
    return with_interval(1e3 * found.difference_s, (low, high), 1)


def clocks_paragraph(results: StudyResults) -> str:
    """Say how the clocks were brought together, and what was found."""
    clocks = [
        t.synchronisation for t in worked_recordings(results) if t.synchronisation is not None
    ]
    if not clocks:
        return ""
    text = (
        f"The two instruments' clocks were brought together {_ways(results, clocks)}. The lag "
        f"added to the reference clock was {span((clock.lag_s for clock in clocks), 3)} s over "
        "recordings"
    )
    drifts = span((clock.drift_ppm for clock in clocks), 1)
    text += f" and the relative drift {drifts} ppm" if drifts != "–" else ""
    peaks = span((clock.peak_correlation for clock in clocks), 3)
    text += f"; the peak correlation was {peaks}" if peaks != "–" else ""
    searched = any(clock.method.startswith("cross-correlation") for clock in clocks)
    return text + "." + (_searched(results) if searched else "") + _lag_errors(results, clocks)


def _ways(results: StudyResults, clocks: list[Synchronisation]) -> str:
    """Say by which ways, and for how many recordings each where there are several."""
    counts = Counter(clock.method for clock in clocks)
    words = {method: _METHODS.get(method, f"by {method}") for method in counts}
    decided = {one.recording for one in results.decisions if one.counts and one.kind == "lag"}
    if decided and "manual" in counts:
        others = " or given in the study file" if len(decided) < counts["manual"] else ""
        words["manual"] = f"by a lag that somebody decided by hand{others}"
    if len(counts) == 1:
        return words[clocks[0].method]
    return listing(f"{words[method]} (in {count(n, 'recording')})" for method, n in counts.items())


def _searched(results: StudyResults) -> str:
    """Say how far lags were searched for, where they were."""
    section = results.parameters.get("synchronisation")
    said = section if isinstance(section, Mapping) else {}
    most, middle = said.get("max_lag_s"), said.get("expected_lag_s")
    if said.get("method") != "cross-correlation" or not isinstance(most, int | float):
        return ""
    about = f" about an expected {middle:g} s" if isinstance(middle, int | float) and middle else ""
    return f" Lags of up to ±{most:g} s{about} were searched, unless a trial states its own."


def _lag_errors(results: StudyResults, clocks: list[Synchronisation]) -> str:
    """Say how well the lags are known, and how the gyroscopes' lag compares with them."""
    text = ""
    errors = span((1e3 * clock.centre_lag_se_s for clock in clocks), 2)
    if errors != "–":
        text += f" The lag's total standard error at the middle of the overlap was {errors} ms"
        systematic = span((1e3 * clock.lag_systematic_s for clock in clocks), 2)
        text += (
            f", of which {systematic} ms is what a difference repeated every cycle may cause "
            "(own rule, checked by simulation; parts add up in quadrature). A difference with the "
            "very shape of a delay, as of skin that moves in swing, is not told from one by two "
            "curves: a lag found by their likeness takes part of it up, and the RMS of the "
            "demeaned curves is too small by that."
            if systematic != "–"
            else "."
        )
    return text + _held_against_gyroscopes(results)


def _held_against_gyroscopes(results: StudyResults) -> str:
    """Say how the gyroscopes' lag compares: with a lag found from the angle, or with one stated."""
    found: dict[bool, list[float]] = {False: [], True: []}
    for trial in worked_recordings(results):
        lag, clock = trial.gyroscope_lag, trial.synchronisation
        if isinstance(lag, GyroscopeLag) and clock is not None:
            found[clock.method in _STATED].append(1e3 * lag.difference_s)
    text = ""
    if found[False]:
        text += (
            " The lag by the angle less that by the sensors' gyroscopes, which is the delay of the "
            f"procedure that computes the angle, was {span(found[False], 1)} ms."
        )
    if found[True]:
        text += (
            " The lag as stated or triggered less that by the sensors' gyroscopes was "
            f"{span(found[True], 1)} ms: a delay between the instruments, or an error of the clock "
            "or of what is stated of the gyroscopes' samples; it says nothing of the procedure."
        )
    return text
