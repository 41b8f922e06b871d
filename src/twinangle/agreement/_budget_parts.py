"""The parts of the mean squared difference, of all cycles and without blocks of them in turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from twinangle.agreement._input import Floats
from twinangle.agreement._jackknife import effective_cycles, serial_correlation
from twinangle.agreement._shapes import Shapes

FEWEST = 6  # cycles that can show a slow drift, and have intervals
_MOST_SERIAL = 0.7  # beyond it few cycles are worth next to none
PARTS = (
    "offset",
    "range",
    "timing",
    "shared",
    "pattern",
    "slow_drift",
    "cycle_offset",
    "cycle_range",
    "cycle_timing",
    "random",
)


@dataclass(frozen=True, slots=True, eq=False)
class CycleReadings:
    """Each cycle's difference of the two instruments, read through the shapes.

    Attributes
    ----------
    difference : ndarray, shape (n_cycles, n_points)
        Test less reference.
    level : ndarray, shape (n_cycles,)
        Mean of the cycle's difference from the mean difference.
    multiples : ndarray, shape (n_cycles, 2)
        What that difference has of the two shapes of `Shapes.basis`: size and delay.
    rest : ndarray, shape (n_cycles, n_points)
        What is left of it.
    """

    difference: Floats
    level: Floats
    multiples: Floats
    rest: Floats


def read_cycles(test: Floats, reference: Floats, shapes: Shapes) -> CycleReadings:
    """Take each cycle's difference apart."""
    difference = test - reference
    varied = difference - difference.mean(axis=0)
    level = varied.mean(axis=1)
    varied = varied - level[:, None]
    multiples = varied @ shapes.basis.T / varied.shape[1]
    return CycleReadings(difference, level, multiples, varied - multiples @ shapes.basis)


def parts_without(
    readings: CycleReadings, shapes: Shapes, left_out: Sequence[NDArray[np.int64]]
) -> dict[str, Floats]:
    """Return total and parts without each of the blocks of cycles, (n_blocks,) each.

    An empty block leaves nothing out. "random_most" is no part: random, had it all that noise of
    its spectrum shows as level, size and delay, even where these hold less by chance.
    """
    left = np.array([readings.level.size - block.size for block in left_out])
    mean = _less(readings.difference, left_out, left)
    total = _less(np.mean(readings.difference**2, axis=1), left_out, left)
    found = _mean_parts(mean, shapes)
    spread = _spread(readings.multiples, left_out, left)
    power = _powers(readings.rest)
    noise = power.sum(axis=1)
    noise = _less(noise, left_out, left) - np.mean(
        _less(readings.rest, left_out, left) ** 2, axis=1
    )
    floor, at_mean = _noise_in(_spectrum(readings.rest, left_out, left), shapes)
    levels = [_level_parts(np.delete(readings.level, block)) for block in left_out]
    slow_drift, quick = np.array(levels).T
    of_shapes = np.minimum(floor, spread)
    of_level = np.minimum(at_mean, quick)
    found |= {
        "slow_drift": slow_drift,
        "cycle_offset": quick - of_level,
        "cycle_range": spread[:, 0] - of_shapes[:, 0],
        "cycle_timing": spread[:, 1] - of_shapes[:, 1],
        "random": noise + of_shapes.sum(axis=1) + of_level,
    }
    serial = min(serial_correlation(readings.rest, corrected=True), _MOST_SERIAL)
    share = 1 / np.maximum(effective_cycles(1, serial) * left - 1, 1)
    most = noise + np.minimum(found["pattern"], share * noise)
    most = most + (1 + share) * (floor.sum(axis=1) + at_mean)
    parts = _without_noise(found, noise, spread, of_shapes, share)
    return {"total": total, "random_most": most} | parts


def _without_noise(
    found: dict[str, Floats],
    noise: Floats,
    spread: Floats,
    of_shapes: Floats,
    share: Floats,
) -> dict[str, Floats]:
    """Move what the cycles' variation leaves in the mean curve to where it comes from.

    A mean of n cycles keeps 1/n_e of their variance, n_e the independent cycles that they are worth
    (their serial correlation is that of the rest); the mean square about that mean is short of it
    by as much, which makes it 1/(n_e - 1) of the mean square: `share`.
    """
    from_pattern = np.minimum(found["pattern"], share * noise)
    whole = spread.sum(axis=1)
    from_shared = np.minimum(found["shared"], share * whole)
    per = from_shared / np.where(whole > 0, whole, 1.0)
    return found | {
        "pattern": found["pattern"] - from_pattern,
        "shared": found["shared"] - from_shared,
        "cycle_range": found["cycle_range"] + per * (spread - of_shapes)[:, 0],
        "cycle_timing": found["cycle_timing"] + per * (spread - of_shapes)[:, 1],
        "random": found["random"] + from_pattern + per * of_shapes.sum(axis=1),
    }


def _mean_parts(mean: Floats, shapes: Shapes) -> dict[str, Floats]:
    """Return the parts of mean difference curves, (n, n_points)."""
    level = mean.mean(axis=1)
    varied = mean - level[:, None]
    both = np.mean((varied @ shapes.basis.T / mean.shape[1]) ** 2, axis=1) * 2
    views = shapes.views(varied)
    sure = holding(views) ** 2 * shapes.squares
    over = sure.sum(axis=1)
    sure = sure * np.where(over > both, both / np.where(over > 0, over, 1.0), 1.0)[:, None]
    return {
        "offset": level**2,
        "range": sure[:, 0],
        "timing": sure[:, 1],
        "shared": np.maximum(both - sure.sum(axis=1), 0.0),
        "pattern": np.maximum(np.mean(varied**2, axis=1) - both, 0.0),
    }


def holding(views: Floats) -> Floats:
    """Return what every view agrees on: the smallest size where all have one sign, else 0."""
    low, high = np.nanmin(views, axis=-2), np.nanmax(views, axis=-2)
    found: Floats = np.maximum(low, 0.0) + np.minimum(high, 0.0)
    return found


def _less(values: Floats, left_out: Sequence[NDArray[np.int64]], left: NDArray[np.int64]) -> Floats:
    """Return the means of values over cycles (first axis) without each block."""
    whole = values.sum(axis=0)
    means = [
        (whole - values[block].sum(axis=0)) / n for block, n in zip(left_out, left, strict=True)
    ]
    return np.array(means)


def _spread(
    values: Floats, left_out: Sequence[NDArray[np.int64]], left: NDArray[np.int64]
) -> Floats:
    """Return the variances of values over cycles without each block."""
    found: Floats = _less(values**2, left_out, left) - _less(values, left_out, left) ** 2
    return np.maximum(found, 0.0)


def _transformed(curves: Floats) -> Floats:
    """Return the cosine and sine amplitudes from the first harmonic on, as mean squares' roots."""
    n = curves.shape[-1]
    half = np.fft.rfft(curves, axis=-1)[..., 1:] / n
    weight = np.full(half.shape[-1], np.sqrt(2.0))
    if n % 2 == 0:
        weight[-1] = 1.0
    return np.stack([half.real, half.imag], axis=-1) * weight[:, None]


def _powers(curves: Floats) -> Floats:
    """Return each curve's mean square by frequency, from the first harmonic on."""
    found: Floats = (_transformed(curves) ** 2).sum(axis=-1)
    return found


def _spectrum(
    rest: Floats, left_out: Sequence[NDArray[np.int64]], left: NDArray[np.int64]
) -> Floats:
    """Return the variance over cycles by frequency without each block, (n_blocks, n_freq)."""
    parts = _transformed(rest)
    found: Floats = _spread(parts, left_out, left).sum(axis=-1)
    return found


def _noise_in(power: Floats, shapes: Shapes) -> tuple[Floats, Floats]:
    """Return what random variation of this spectrum shows as size and delay, and as level.

    Random variation has no preferred place in the cycle, so a shape with share f_h of its power at
    frequency h (of two dimensions, cosine and sine) holds Σ p_h f_h / 2 of it, p_h its power there;
    the rest was freed of the shapes and lacks f_h / 2 of each. Level, the frequency 0 of one
    dimension, has half of the lowest frequency's.
    """
    share = _powers(shapes.basis)
    whole = power / np.maximum(1 - share.sum(axis=0) / 2, 0.1)
    return whole @ share.T / 2, whole[:, 0] / 2


def _level_parts(level: Floats) -> tuple[float, float]:
    """Return the mean squares of the slow drift of the level, and of what is left of it."""
    level = level - level.mean() if level.size else level
    power = float(np.mean(level**2)) if level.size else 0.0
    if level.size < FEWEST or power == 0:
        return 0.0, power
    # Neighbours share the slow part and nothing else, so their product estimates its square.
    slow = float(np.mean(level[1:] * level[:-1])) + power / level.size
    slow = float(np.clip(slow, 0.0, power))
    return slow, power - slow
