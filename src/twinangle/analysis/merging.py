"""From one file a sensor to both sensors on one clock, never by a guess."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.errors import RecordingError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, Recording
from twinangle.signals.timing import Part, TimingReport, regularise

SAME_CLOCK = 0.01  # of a sampling interval: even clocks no further apart are one
LEAST_OVERLAP = 0.5  # of the shorter recording
SEGMENTS = ("proximal", "distal")


def merge_sensors(
    proximal: Recording,
    distal: Recording,
    *,
    distal_lag_s: float | None = None,
    part: Part | None = None,
) -> tuple[Recording, TimingReport]:
    """Put the two sensors' files on one uniform clock, the proximal sensor's.

    Parameters
    ----------
    proximal, distal : Recording
        As read, each on its own file's time stamps, in seconds.
    distal_lag_s : float, optional
        What is added to the distal sensor's clock to land on the proximal sensor's. None where the
        two files' times are those of one clock.
    part : Part, optional
        What is taken of them, on the proximal sensor's clock.

    Returns
    -------
    recording : Recording
        Both sensors' channels over the time that both recorded, the file's place in front of each
        name ("proximal acc_x"). Where the two even clocks stay within 1 % of a sampling interval
        over that time, sample stands by sample as it was; otherwise the sensor with the lower
        rate (the distal one where the rates are the same) is interpolated at the other's samples
        by a cubic spline. A sample beside a gap is a gap.
    report : TimingReport
        Missing and repeated samples of both files together, the longer of their gaps, the larger
        of their jitters.

    Raises
    ------
    RecordingError
        If the files' times overlap for less than half of the shorter recording, so that they are
        not those of one clock; the message says what may be given.

    Notes
    -----
    Two files whose times both begin at zero may have been started together or not: nothing in
    them tells, and a warning says so unless `distal_lag_s` is given.
    """
    first, first_report = regularise(proximal, part=part)
    second, second_report = regularise(_shifted(distal, distal_lag_s or 0.0), part=part)
    start_s, end_s = _overlap(first, second, given=distal_lag_s is not None)
    values, time_s, how = _on_one_clock(first, second, start_s, end_s)
    source = f"{proximal.source} and {distal.source}"
    warnings = (
        *first_report.warnings,
        *second_report.warnings,
        *_both_from_zero(proximal, distal, distal_lag_s, source),
    )
    merged = Recording(
        time_s=time_s,
        values=values,
        channels=tuple(
            f"{segment} {name}"
            for segment, each in zip(SEGMENTS, (first, second), strict=True)
            for name in each.channels
        ),
        units=(*first.units, *second.units),
        source=source,
        notes=(*first.notes, *second.notes, *_left_out(first, second, time_s, source), *how),
    )
    return merged, _together(first_report, second_report, time_s, warnings)


def _shifted(recording: Recording, lag_s: float) -> Recording:
    return replace(recording, time_s=recording.time_s + lag_s) if lag_s else recording


def _rate_hz(recording: Recording) -> float:
    span_s = float(recording.time_s[-1] - recording.time_s[0])
    return (recording.time_s.size - 1) / span_s


def _overlap(first: Recording, second: Recording, *, given: bool) -> tuple[float, float]:
    """Return the time that both files cover; refuse files whose clocks are not one."""
    start_s = max(float(first.time_s[0]), float(second.time_s[0]))
    end_s = min(float(first.time_s[-1]), float(second.time_s[-1]))
    spans = [float(each.time_s[-1] - each.time_s[0]) for each in (first, second)]
    if end_s - start_s < LEAST_OVERLAP * min(spans):
        hint = (
            "correct `distal_lag_s` of this trial"
            if given
            else "files on one clock, or in the trials table a column `distal_lag_s`, the seconds "
            "to add to the distal sensor's times"
        )
        raise RecordingError(
            f"{first.source} runs from {first.time_s[0]:.6g} to {first.time_s[-1]:.6g} s and "
            f"{second.source} from {second.time_s[0]:.6g} to {second.time_s[-1]:.6g} s: they share "
            f"{max(end_s - start_s, 0):.3g} s, so these are not times of one clock; accepted: "
            f"{hint}."
        )
    return start_s, end_s


def _on_one_clock(
    first: Recording, second: Recording, start_s: float, end_s: float
) -> tuple[Array, Array, tuple[str, ...]]:
    """Return both sensors' values at the same times over the overlap, and how that was done."""
    rates = _rate_hz(first), _rate_hz(second)
    finer, other = (second, first) if rates[1] > rates[0] * (1 + 1e-6) else (first, second)
    inside = _within(finer.time_s, start_s, end_s, 0.5 / max(rates))
    time_s = finer.time_s[inside]
    slots = np.rint((time_s - other.time_s[0]) * _rate_hz(other)).astype(np.int64)
    slots = np.clip(slots, 0, other.time_s.size - 1)
    apart = np.abs(other.time_s[slots] - time_s)
    if apart.max() * max(rates) <= SAME_CLOCK and (np.diff(slots) == 1).all():
        pair, how = [finer.values[inside], other.values[slots]], ""
    else:
        pair = [finer.values[inside], interpolate(other, time_s)]
        how = (
            f"{other.source}: interpolated at the samples of {finer.source} (rates {rates[0]:.6g} "
            f"and {rates[1]:.6g} Hz), by a cubic spline"
        )
    values = np.hstack(pair if finer is first else pair[::-1])
    return values, time_s, (how,) if how else ()


def _within(times: Array, start_s: float, end_s: float, margin_s: float) -> NDArray[np.bool_]:
    return np.asarray((times >= start_s - margin_s) & (times <= end_s + margin_s))


def interpolate(recording: Recording, time_s: Array) -> Array:
    """Return a uniform recording's values at other times; NaN beside a gap and beyond the ends.

    Parameters
    ----------
    recording : Recording
        On a uniform clock.
    time_s : ndarray, shape (n,)
        In seconds on the same clock.

    Returns
    -------
    ndarray, shape (n, n_channels)
        A cubic spline through each channel's samples (not-a-knot). Gaps are bridged by straight
        lines for the spline's sake and taken out again.
    """
    times = recording.time_s
    left = np.clip(np.searchsorted(times, time_s, side="right") - 1, 0, times.size - 2)
    outside = (time_s < times[0]) | (time_s > times[-1])
    found = np.empty((time_s.size, recording.values.shape[1]))
    for column in range(found.shape[1]):
        samples = recording.values[:, column]
        present = np.isfinite(samples)
        if not present.any():
            found[:, column] = np.nan
            continue
        whole = np.interp(times, times[present], samples[present])
        found[:, column] = scipy.interpolate.CubicSpline(times, whole)(time_s)
        found[~(present[left] & present[left + 1]) | outside, column] = np.nan
    return found


def _both_from_zero(
    proximal: Recording, distal: Recording, distal_lag_s: float | None, source: str
) -> tuple[str, ...]:
    """Warn where nothing in the files tells that both were started at the same moment."""
    starts = [abs(float(each.time_s[0])) * _rate_hz(each) for each in (proximal, distal)]
    if distal_lag_s is not None or max(starts) > 1:
        return ()
    text = (
        f"{source}: both files' times begin at 0 s, and nothing in them tells that both sensors "
        "were started at the same moment; they are taken as started together. If they were not, "
        "give `distal_lag_s` in the trials table; 0 there says that they were."
    )
    return (Notice(text, "sensors-started-together"),)


def _left_out(first: Recording, second: Recording, time_s: Array, source: str) -> tuple[str, ...]:
    """Tell how much of either file lies outside the time that both recorded."""
    begin_s = float(time_s[0]) - min(float(first.time_s[0]), float(second.time_s[0]))
    end_s = max(float(first.time_s[-1]), float(second.time_s[-1])) - float(time_s[-1])
    step_s = 1 / min(_rate_hz(first), _rate_hz(second))
    if max(begin_s, end_s) <= step_s:
        return ()
    text = (
        f"{source}: {begin_s:.3g} s at the beginning and {end_s:.3g} s at the end were recorded by "
        "one sensor only and are left out"
    )
    return (text,)


def _together(
    first: TimingReport, second: TimingReport, time_s: Array, warnings: tuple[str, ...]
) -> TimingReport:
    return TimingReport(
        rate_hz=(time_s.size - 1) / float(time_s[-1] - time_s[0]),
        n_samples=time_s.size,
        n_missing=first.n_missing + second.n_missing,
        longest_gap_s=max(first.longest_gap_s, second.longest_gap_s),
        jitter_ms=max(first.jitter_ms, second.jitter_ms),
        n_repeated=first.n_repeated + second.n_repeated,
        warnings=warnings,
    )
