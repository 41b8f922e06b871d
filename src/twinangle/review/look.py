"""What the page shows of one recording: its numbers, and its traces even where it was refused."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.signal import find_peaks

from twinangle.analysis import analyse_trial
from twinangle.analysis.clock import place_reference
from twinangle.analysis.cutting import cut_cycles
from twinangle.analysis.opened import Opened, open_trial
from twinangle.analysis.reading import TrialSignals
from twinangle.clocks import align, manual, synchronise
from twinangle.clocks.search import prepare, search_lags
from twinangle.cycles import recut
from twinangle.errors import SynchronisationError, TwinangleError
from twinangle.results import TrialResult
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
POINTS = 1500  # of the correlation over lags, as drawn
PEAKS = 6


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
    unseen: str = ""  # why traces are not shown

    @property
    def first(self) -> TrialResult:
        """The result under the first procedure, which gave the clock and the cycles."""
        return next((one for one in self.results if one.status == "ok"), self.results[0])

    @property
    def placed(self) -> Synchronisation:
        """The clock that the picture begins with."""
        return self.clock if self.clock is not None else manual(*self.guess)


def look_at(study: Study, trial: Trial) -> Look:
    """Analyse a recording as `run` does, and gather what is seen of it.

    Parameters
    ----------
    study : Study
        The settings, with the decisions that are to count.
    trial : Trial
        One row of the trials table; one that is excluded is shown, not analysed.
    """
    shown = replace(trial, exclude="")
    own = settings_of(study, trial)
    try:
        opened = open_trial(own, shown)
    except (TwinangleError, OSError) as error:
        return Look(analyse_trial(study, trial), unseen=str(error))
    seen = Look(analyse_trial(study, trial, opened=opened))
    try:
        return _with_traces(own, shown, opened, seen)
    except TwinangleError as error:
        return replace(seen, unseen=str(error))
    except Exception as error:  # the page goes on without the picture
        return replace(seen, unseen=f"{type(error).__name__}: {error}")


def _with_traces(study: Study, trial: Trial, opened: Opened, seen: Look) -> Look:
    """Add traces, clock, correlation and cycles, as far as each can be had."""
    signals = opened.signals
    found = seen.first
    motion = None if found.paired is not None else _motion(study, opened)
    wearable = _as_recorded(found.paired, trial) if motion is None else motion.angle
    seen = replace(seen, wearable=wearable, cycles=found.cycles)
    if signals.reference is not None:
        seen = replace(seen, reference=signals.reference)
        seen = _with_clock(study, trial, signals, motion, seen)
        seen = _correlated(study, seen)
    if seen.cycles is None and motion is not None:
        seen = replace(seen, cycles=_cycles(study, trial, signals, motion))
    return seen


def _as_recorded(paired: PairedAngles | None, trial: Trial) -> AngleRecording:
    if paired is None:
        raise TwinangleError("there is no angle of the wearable.")
    return AngleRecording(paired.wearable_deg, paired.start_s, paired.rate_hz, trial.participant)


def _motion(study: Study, opened: Opened) -> JointMotion:
    """Return what the first procedure that yields an angle yields."""
    found = opened.motions(study.wearable.procedures).values()
    for motion in found:
        if isinstance(motion, JointMotion):
            return motion
    raise TwinangleError(next(iter(found), "no procedure yields an angle."))


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
    """Add the correlation over lags, and where none was accepted the lag where it is highest."""
    clock = seen.clock
    if clock is None and seen.wearable is not None and seen.reference is not None:
        try:
            clock = synchronise(
                seen.wearable,
                seen.reference,
                max_lag_s=study.synchronisation.max_lag_s,
                expected_lag_s=study.synchronisation.expected_lag_s,
                drift=False,
                refuse=False,
            )
            seen = replace(seen, guess=(round(clock.lag_s, 3), 0.0))
        except SynchronisationError:
            clock = None
    if clock is not None and clock.candidate_lags_s.size:
        return replace(seen, lags_s=clock.candidate_lags_s, correlation=clock.candidate_correlation)
    try:
        return _searched(study, seen)
    except (SynchronisationError, ValueError):
        return seen


def _searched(study: Study, seen: Look) -> Look:
    """Correlate over the lags that the study allows, whatever the clock rests on."""
    if seen.wearable is None or seen.reference is None:
        return seen
    settings = study.synchronisation
    wearable, reference, rate_hz = prepare(seen.wearable, seen.reference)
    begin = max(wearable.start_s, reference.start_s + settings.expected_lag_s)
    end = begin + LONGEST_SEARCH_S
    reach = settings.max_lag_s + abs(settings.expected_lag_s)
    found = search_lags(
        wearable.between(begin, end),
        reference.between(begin - reach, end + reach),
        rate_hz,
        expected_lag_s=settings.expected_lag_s,
        max_lag_s=settings.max_lag_s,
        min_overlap_s=5.0,
    )
    finite = np.isfinite(found.correlation)
    if not finite.any():
        return seen
    best = float(found.lags_s[np.nanargmax(found.correlation)])
    guess = seen.guess if seen.clock is not None else (round(best, 3), 0.0)
    return replace(
        seen, lags_s=found.lags_s[finite], correlation=found.correlation[finite], guess=guess
    )


def _cycles(
    study: Study, trial: Trial, signals: TrialSignals, motion: JointMotion
) -> CycleSet | None:
    """Return the wearable's own cycles; None where they cannot be cut."""
    angle = motion.angle
    alone = PairedAngles(angle.angle_deg, None, angle.start_s, angle.rate_hz)
    try:
        return cut_cycles(study, trial, signals, motion, alone)
    except TwinangleError:
        return None


def paired_at(look: Look, lag_s: float, drift_ppm: float) -> PairedAngles | None:
    """Return both angles with the reference placed by a lag and a drift; None without both.

    Raises
    ------
    ValueError
        If lag or drift is no clock's.
    """
    if look.wearable is None or look.reference is None:
        return None
    return align(look.wearable, look.reference, manual(lag_s, drift_ppm))


def cycles_at(look: Look, paired: PairedAngles) -> CycleSet | None:
    """Return the cycles with the reference's curves as placed; None where too few have both."""
    if look.cycles is None:
        return None
    try:
        return recut(look.cycles, paired)
    except TwinangleError:
        return None


def peaks_of(look: Look) -> tuple[tuple[float, float], ...]:
    """Return the highest maxima of the correlation, lag and height, the highest first."""
    if look.lags_s is None or look.correlation is None:
        return ()
    values = np.nan_to_num(look.correlation, nan=-1.0)
    index, _ = find_peaks(np.concatenate([[-2.0], values, [-2.0]]))
    ordered = sorted((index - 1).tolist(), key=lambda i: -values[i])[:PEAKS]
    return tuple((float(look.lags_s[i]), float(values[i])) for i in ordered)


def thinned(look: Look) -> tuple[Array, Array]:
    """Return the correlation over lags with few enough points to draw, every peak named kept."""
    if look.lags_s is None or look.correlation is None:
        return np.zeros(0), np.zeros(0)
    step = max(look.lags_s.size // POINTS, 1)
    kept = set(range(0, look.lags_s.size, step))
    kept |= {int(np.argmin(np.abs(look.lags_s - lag))) for lag, _ in peaks_of(look)}
    index = np.array(sorted(kept))
    return look.lags_s[index], look.correlation[index]
