"""Whether the person stood still in neutral standing, and where they did."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.outcome import Outcome, Verdict, not_tested
from twinangle.signals.recording import Array, Interval, SensorPair
from twinangle.thresholds import told_apart

TEST = "standing"
MOST_MOVING_DEG_S, REFUSED_MOVING_DEG_S = 8.0, 20.0
"""RMS rate about its mean over neutral standing: 6.3 °/s and less on the open walks, some of them
cut short between two movements; walking and functional movements 116 to 193 °/s."""
_BLOCK_S = 0.5
_SHORTEST_S, _LONGEST_S = 1.0, 5.0  # of a stretch that is proposed
_UPRIGHT_DEG = 40.0  # of both sensors' usual vertical: not lying, not seated


def quiet_standing(evidence: Evidence) -> tuple[Outcome, ...]:
    """Refuse a neutral standing in which the person moved, and propose the quietest stretch.

    The value is the larger of the two sensors' √mean|ω − mean ω|² over neutral standing. Where it
    is too large, the half seconds that move are named, and the quietest stretch of the recording
    in which both sensors hold their usual vertical within 40° is proposed.
    """
    if evidence.sensors is None:
        return (not_tested(TEST, "both sensors", "the wearable delivers no raw gyroscopes"),)
    standing = evidence.standing
    if standing is not None:
        where = Interval(*_ends(standing))
    elif evidence.static is not None:
        standing, where = evidence.sensors, evidence.static
    else:
        return (not_tested(TEST, "both sensors", "no neutral standing is given"),)
    speed = _moving(standing, where)
    if not np.isfinite(speed).any():
        return (not_tested(TEST, "both sensors", "neutral standing holds no sample of both"),)
    value = float(np.degrees(np.sqrt(np.nanmean(speed**2, axis=0)).max()))
    if value <= MOST_MOVING_DEG_S:
        return (Outcome(TEST, "both sensors", "consistent", value, MOST_MOVING_DEG_S, "deg/s"),)
    return (_told(evidence, standing, where, speed, value),)


@lru_cache(maxsize=4)  # the scale of either gyroscope asks for the same
def quietest(pair: SensorPair, length_s: float) -> tuple[Interval, float] | None:
    """Return the quietest stretch of a recording, and its RMS rate about the mean, degrees/s.

    Parameters
    ----------
    pair : SensorPair
        Gaps are NaN.
    length_s : float
        Of the stretch.

    Returns
    -------
    (Interval, float) or None
        None where no stretch without gaps holds both sensors within 40° of their usual vertical.
    """
    rate_hz = pair.distal.rate_hz
    size, hop = max(int(length_s * rate_hz), 2), max(int(0.25 * rate_hz), 1)
    starts = np.arange(0, pair.distal.n_samples - size + 1, hop)
    if not starts.size:
        return None
    spread = np.zeros(starts.size)
    for sensor in (pair.proximal, pair.distal):
        total, square = _sums(sensor.gyroscope, starts, size)
        variance = np.sum(square / size - (total / size) ** 2, axis=1)
        force = _sums(sensor.accelerometer, starts, size)[0]
        usual = np.nanmedian(sensor.accelerometer, axis=0)
        norms = np.linalg.norm(force, axis=1) * np.linalg.norm(usual)
        with np.errstate(invalid="ignore", divide="ignore"):
            upright = force @ usual / norms > np.cos(np.radians(_UPRIGHT_DEG))
        spread = np.maximum(spread, np.where(upright, np.sqrt(np.maximum(variance, 0)), np.inf))
    spread = np.where(np.isfinite(spread), spread, np.inf)
    best = int(np.argmin(spread))
    if not np.isfinite(spread[best]):
        return None
    start_s = pair.distal.start_s + float(starts[best]) / rate_hz
    return Interval(start_s, start_s + size / rate_hz), float(np.degrees(spread[best]))


def _sums(values: Array, starts: NDArray[np.int64], size: int) -> tuple[Array, Array]:
    """Return sums and sums of squares over windows, (m, 3) each; NaN where a sample is missing."""
    known = np.isfinite(values).all(axis=1, keepdims=True)
    filled = np.where(known, values, 0.0)
    stack = np.concatenate([filled, filled**2, ~known], axis=1)
    running = np.concatenate([np.zeros((1, 7)), np.cumsum(stack, axis=0)])
    window = running[starts + size] - running[starts]
    window[window[:, 6] > 0.5] = np.nan
    return window[:, :3], window[:, 3:6]


def _ends(pair: SensorPair) -> tuple[float, float]:
    time_s = pair.distal.time_s
    return float(time_s[0]), float(time_s[-1])


def _moving(pair: SensorPair, where: Interval) -> Array:
    """Return both sensors' speed about their mean rate in a stretch, rad/s, (n, 2)."""
    time_s = pair.distal.time_s
    inside = (time_s >= where.start_s) & (time_s <= where.end_s)
    rates = (pair.proximal.gyroscope[inside], pair.distal.gyroscope[inside])
    if not inside.any() or not all(np.isfinite(rate).any() for rate in rates):
        return np.full((0, 2), np.nan)
    return np.column_stack(
        [np.linalg.norm(rate - np.nanmean(rate, axis=0), axis=1) for rate in rates]
    )


def _told(
    evidence: Evidence, standing: SensorPair, where: Interval, speed: Array, value: float
) -> Outcome:
    refused = value > REFUSED_MOVING_DEG_S
    limit = REFUSED_MOVING_DEG_S if refused else MOST_MOVING_DEG_S
    shown, bound = told_apart(value, limit)
    own = evidence.standing is not None
    said = (
        f"neutral standing ({where.start_s:g} to {where.end_s:g} s{' of its own file' * own}) "
        f"was taken while moving: the sensors turn at {shown} °/s about their mean (RMS; more "
        f"than {bound} °/s, quiet standing stays below 7), {_when(speed, standing, where)}. "
        f"{_overlap(evidence)}{_proposal(evidence, standing, where)}"
    )
    verdict: Verdict = "contradicted" if refused else "doubtful"
    return Outcome(TEST, "both sensors", verdict, value, limit, "deg/s", said)


def _when(speed: Array, pair: SensorPair, where: Interval) -> str:
    """Name the stretch that moves."""
    size = max(int(_BLOCK_S * pair.distal.rate_hz), 1)
    largest = np.nan_to_num(np.degrees(speed.max(axis=1)))
    first = max(where.start_s, pair.distal.start_s)
    moving = [
        k for k in range(0, largest.size, size)
        if np.sqrt(np.mean(largest[k : k + size] ** 2)) > MOST_MOVING_DEG_S
    ]  # fmt: skip
    if not moving:
        return "throughout"
    begin = first + moving[0] / pair.distal.rate_hz
    end = min(first + (moving[-1] + size) / pair.distal.rate_hz, where.end_s)
    if end - begin > 0.9 * (where.end_s - where.start_s):
        return "throughout"
    return f"from {begin:.1f} to {end:.1f} s"


def _overlap(evidence: Evidence) -> str:
    static, functional = evidence.static, evidence.functional
    if static is None or functional is None or evidence.standing is not None:
        return ""
    if min(static.end_s, functional.end_s) <= max(static.start_s, functional.start_s):
        return ""
    return (
        f"It overlaps with the functional movement ({functional.start_s:g} to "
        f"{functional.end_s:g} s). "
    )


def _proposal(evidence: Evidence, standing: SensorPair, where: Interval) -> str:
    """Propose another stretch, of the whole file: it need not lie in the part that is analysed."""
    whole = evidence.whole() if evidence.whole is not None and evidence.standing is None else None
    pair = standing if whole is None else whole
    asked = float(np.clip(where.end_s - where.start_s, _SHORTEST_S, _LONGEST_S))
    for length in (asked, 0.5 * (asked + _SHORTEST_S), _SHORTEST_S):  # a shorter one before none
        found = quietest(pair, length)
        if found is not None and found[1] <= MOST_MOVING_DEG_S:
            break
    else:
        return "The recording holds no quiet stretch: give a `static` file of its own."
    part, speed = found
    return (
        f"The quietest {length:.1f} s of the recording are {part.start_s:.1f} to "
        f"{part.end_s:.1f} s ({speed:.1f} °/s): if the person stood upright there, give "
        "those as `static_start_s` and `static_end_s`."
    )
