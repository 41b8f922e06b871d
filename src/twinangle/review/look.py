"""What the page shows of one recording: its numbers, and its traces even where it was refused."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np

from twinangle.analysis import analyse_trial
from twinangle.analysis.analysed_part import mask_reference
from twinangle.analysis.clock import place_reference
from twinangle.analysis.cutting import cut_cycles
from twinangle.analysis.opened import Opened, open_trial
from twinangle.analysis.reading import TrialSignals
from twinangle.analysis.sensor_quality import describe_sensors
from twinangle.analysis.trial import CutElsewhere
from twinangle.clocks import align, manual, synchronise
from twinangle.clocks.search import prepare, search_lags
from twinangle.cycles.carried import CARRIED
from twinangle.errors import SynchronisationError, TooFewCyclesError, TwinangleError
from twinangle.results import SensorRecord, TrialResult
from twinangle.review.placed import clock_near
from twinangle.review.whole_day import cycles_of_the_day, results_of_the_day
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    CycleSet,
    JointMotion,
    PairedAngles,
    Synchronisation,
)
from twinangle.study import Study, Trial, settings_of

ClockState = Literal["found", "refused", "none"]
LONGEST_SEARCH_S = 1800.0  # of a clock that was refused, correlated for the picture
WIDEST_S = 60.0  # lags looked at where none was accepted
SURELY_BETTER = 0.02  # of correlation, for another lag to begin with
_NO_ANGLE = PairedAngles(np.full(1, np.nan), None, 0.0, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Turning:
    """How fast the distal sensor turns, whatever about, over the whole file.

    What is seen where there is no angle, and beyond the stretches that are analysed.
    """

    rate_deg_s: Array
    start_s: float
    rate_hz: float


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One recording as it is looked at.

    The reference's angle is on its own clock; `clock` places it where one is known, `guess` where
    none is accepted: the lag of the highest correlation, which nothing but the picture rests on.
    """

    results: tuple[TrialResult, ...]
    wearable: AngleRecording | None = None
    reference: AngleRecording | None = None
    clock: Synchronisation | None = None
    clock_state: ClockState = "none"
    clock_refused: str = ""
    guess: tuple[float, float] = (0.0, 0.0)  # lag in seconds, drift in ppm
    lags_s: Array | None = None
    correlation: Array | None = None
    cycles: CycleSet | None = None
    turning: Turning | None = None
    sensors: tuple[SensorRecord, ...] = ()
    seconds: float = 0.0  # how long the traces are
    unseen: str = ""  # why the wearable's angle is not shown

    @property
    def first(self) -> TrialResult:
        """The result under the first procedure, which gave the clock and the cycles."""
        return next((one for one in self.results if one.status == "ok"), self.results[0])

    @property
    def cut_by(self) -> str:
        """Whose cycles are shown, of several wearables; empty where they are this one's own."""
        return "" if self.cycles is None else self.cycles.method.partition(CARRIED)[2]

    @property
    def placed(self) -> Synchronisation:
        """The clock that the picture begins with."""
        return self.clock if self.clock is not None else manual(*self.guess)


def look_at(study: Study, trial: Trial, cycles_by: CutElsewhere | None = None) -> Look:
    """Analyse a recording as `run` does, and gather what is seen of it.

    Parameters
    ----------
    study : Study
        The settings, with the decisions that are to count.
    trial : Trial
        One row of the trials table; one that is excluded is shown, not analysed.
    cycles_by : callable, optional
        Cuts the recording at the cycles of another wearable, as :func:`analyse_trial` takes it.
    """
    shown = replace(trial, exclude="")
    own = settings_of(study, trial)
    try:
        opened = open_trial(own, shown)
    except (TwinangleError, OSError) as error:
        return Look(analyse_trial(study, trial, cycles_by=cycles_by), unseen=str(error))
    seen = Look(analyse_trial(study, trial, opened=opened, cycles_by=cycles_by))
    try:
        seen = _with_traces(own, shown, opened, seen, cycles_by)
        long = study.daily_life.stretch_min is not None
        return _of_the_day(own, shown, opened, seen) if long else seen
    except TwinangleError as error:
        return replace(seen, unseen=str(error))
    except Exception as error:  # the page goes on without the picture
        return replace(seen, unseen=f"{type(error).__name__}: {error}")


def _with_traces(
    study: Study, trial: Trial, opened: Opened, seen: Look, cycles_by: CutElsewhere | None
) -> Look:
    """Add traces, clock, correlation and cycles, as far as each can be had."""
    signals = opened.signals
    found = seen.first
    seen = replace(seen, sensors=found.sensors, turning=_turning(study, trial, signals))
    if not seen.sensors:
        seen = replace(seen, sensors=describe_sensors(signals.recorded, _NO_ANGLE)[0])
    if seen.turning is not None:
        seen = replace(seen, seconds=seen.turning.rate_deg_s.size / seen.turning.rate_hz)
    if found.paired is None:
        motion = _motion(study, opened)
        if isinstance(motion, str):
            return replace(seen, reference=signals.reference, unseen=motion)
        wearable = motion.angle
    else:
        motion, wearable = None, _as_recorded(found.paired, trial)
    seconds = max(seen.seconds, wearable.angle_deg.size / wearable.rate_hz)
    seen = replace(seen, wearable=wearable, cycles=found.cycles, seconds=seconds)
    if signals.reference is not None:
        seen = replace(seen, reference=signals.reference)
        seen = _with_clock(study, trial, signals, motion, seen)
        seen = _correlated(study, seen)
    if motion is None:
        return seen
    paired = PairedAngles(wearable.angle_deg, None, wearable.start_s, wearable.rate_hz)
    if seen.clock is not None and seen.reference is not None:
        paired = mask_reference(trial, align(wearable, seen.reference, seen.clock))
    cut: Callable[..., CycleSet] = (
        cut_cycles if cycles_by is None else partial(cycles_by, clock=seen.clock)
    )
    return replace(seen, cycles=_cycles(cut, study, trial, signals, motion, paired))


def _of_the_day(study: Study, trial: Trial, opened: Opened, seen: Look) -> Look:
    """Show the cycles of a recording that a run reads in stretches as its daily life has them."""
    motion = _motion(study, opened)
    if isinstance(motion, str) or seen.wearable is None:
        return seen
    angle = seen.wearable
    paired = PairedAngles(angle.angle_deg, None, angle.start_s, angle.rate_hz)
    alone = _cycles(cut_cycles, study, trial, opened.signals, motion, paired)
    cycles = cycles_of_the_day(seen.cycles, alone)
    return replace(seen, cycles=cycles, results=results_of_the_day(seen.results))


def _turning(study: Study, trial: Trial, signals: TrialSignals) -> Turning | None:
    """Return how fast the distal sensor turns over the whole file; None without gyroscopes.

    The analysis reads no more than its stretches, and where one of them is wrong, the right one may
    lie outside.
    """
    if signals.sensors is None:
        return None
    one = signals.sensors.distal
    if trial.start_s is not None or trial.end_s is not None:
        with suppress(TwinangleError):
            whole = open_trial(study, replace(trial, start_s=None, end_s=None)).signals
            one = whole.sensors.distal if whole.sensors is not None else one
    size = np.degrees(np.linalg.norm(one.gyroscope, axis=1))
    return Turning(size, one.start_s, one.rate_hz)


def _as_recorded(paired: PairedAngles, trial: Trial) -> AngleRecording:
    return AngleRecording(paired.wearable_deg, paired.start_s, paired.rate_hz, trial.participant)


def _motion(study: Study, opened: Opened) -> JointMotion | str:
    """Return what the first procedure that yields an angle yields, or why none does."""
    found = list(opened.motions(study.wearable.procedures).values())
    return next((one for one in found if isinstance(one, JointMotion)), found[0])


def _with_clock(
    study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion | None, seen: Look
) -> Look:
    """Add the clock that was found, or why it was refused."""
    found = seen.first
    if motion is None:
        clock = found.synchronisation
        if clock is None or found.paired is None or seen.wearable is None:
            return seen
        reference = _zeroed_alike(found.paired, seen.wearable, signals.reference, clock)
        return replace(seen, clock=clock, clock_state="found", reference=reference)
    try:
        clock, reference = place_reference(study, trial, signals, motion)
    except TwinangleError as error:
        return replace(seen, clock_state="refused", clock_refused=str(error))
    return replace(seen, clock=clock, clock_state="found", reference=reference)


def _zeroed_alike(
    paired: PairedAngles,
    wearable: AngleRecording,
    reference: AngleRecording | None,
    clock: Synchronisation,
) -> AngleRecording | None:
    """Return the reference with the zero that the analysis gave it."""
    if reference is None or paired.reference_deg is None:
        return reference
    own = align(wearable, reference, clock).reference_deg
    if own is None:
        return reference
    both = np.isfinite(own) & np.isfinite(paired.reference_deg)
    if not both.any():
        return reference
    moved = float(np.median(paired.reference_deg[both] - own[both]))
    return replace(reference, angle_deg=reference.angle_deg + moved)


def _correlated(study: Study, seen: Look) -> Look:
    """Add the correlation over lags, and where no clock was accepted the lag to begin with."""
    clock = seen.clock
    if clock is not None and clock.candidate_lags_s.size:
        return replace(seen, lags_s=clock.candidate_lags_s, correlation=clock.candidate_correlation)
    try:
        seen = _searched(study, seen)
    except (SynchronisationError, ValueError):
        return seen
    if clock is not None or seen.correlation is None or seen.lags_s is None:
        return seen
    best = int(np.argmax(seen.correlation))
    guess = _uncertain_lag(study, seen, float(seen.correlation[best]))
    if guess is None:
        near = clock_near(seen, float(seen.lags_s[best]), drift=False)
        guess = float(seen.lags_s[best]) if near is None else near.lag_s
    return replace(seen, guess=(round(guess, 3), 0.0))


def _uncertain_lag(study: Study, seen: Look, height: float) -> float | None:
    """Return the lag that was refused as uncertain; None where another correlates better."""
    if seen.wearable is None or seen.reference is None:
        return None
    settings = study.synchronisation
    try:
        clock = synchronise(
            seen.wearable,
            seen.reference,
            max_lag_s=settings.max_lag_s,
            expected_lag_s=settings.expected_lag_s,
            drift=False,
            refuse=False,
        )
    except SynchronisationError:
        return None
    return clock.lag_s if clock.peak_correlation > height - SURELY_BETTER else None


def _searched(study: Study, seen: Look) -> Look:
    """Correlate over lags: those that the study allows, and where none was accepted far more."""
    if seen.wearable is None or seen.reference is None:
        return seen
    settings = study.synchronisation
    wearable, reference, rate_hz = prepare(seen.wearable, seen.reference)
    begin = max(wearable.start_s, reference.start_s + settings.expected_lag_s)
    end = min(begin + LONGEST_SEARCH_S, wearable.end_s)
    reach = settings.max_lag_s
    if seen.clock is None:
        shorter = min(end - begin, reference.end_s - reference.start_s)
        reach = max(reach, min(WIDEST_S, 0.5 * shorter))
    margin = reach + abs(settings.expected_lag_s)
    found = search_lags(
        wearable.between(begin, end),
        reference.between(begin - margin, end + margin),
        rate_hz,
        expected_lag_s=settings.expected_lag_s,
        max_lag_s=reach,
        min_overlap_s=5.0 if seen.clock is not None else max(5.0, 0.25 * (end - begin)),
    )
    finite = np.isfinite(found.correlation)
    if not finite.any():
        return seen
    return replace(seen, lags_s=found.lags_s[finite], correlation=found.correlation[finite])


def _cycles(cut: Callable[..., CycleSet], *asked: object) -> CycleSet | None:
    """Return the cycles, also where too few are kept; None where they cannot be cut."""
    try:
        return cut(*asked)
    except TooFewCyclesError as error:
        return error.cycles if isinstance(error.cycles, CycleSet) else None
    except TwinangleError:
        return None
