"""Simulated studies of `benchmarks/coverage.py`: which intervals hold the truth, study by study.

Every function takes a generator and a number of studies and returns, for each interval, an array
of one truth value (or a share) a study. Where many studies go through the tool's array functions
at once, the first few also go through its public functions and must agree.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose
from scipy import signal, special

from twinangle.agreement import (
    compare_curves,
    compare_variability,
    concordance,
    curve_band,
    cycle_variability,
    deming_regression,
    error_budget,
    intraclass_correlations,
    limits_of_agreement,
    measurement_error,
    mixed_model_limits,
    percentile_limits,
    pool_variability,
    regression_limits,
    within_participant_limits,
)
from twinangle.agreement._components import variance_components
from twinangle.agreement._intervals import (
    exact_limit_factors,
    exact_pair_factors,
    join_limits,
)
from twinangle.agreement._model_intervals import bias_half_width, model_limits
from twinangle.agreement._participants import (
    ParticipantLimits,
    limits_over_participants,
    log_mean_interval,
)
from twinangle.agreement._quantiles import half_width, two_sided_student
from twinangle.agreement._reml import NestedSums, RemlFit, fit_reml, nested_sums
from twinangle.agreement._shape import FALSE_ALARMS, compared_values, normality_p
from twinangle.agreement._size_bands import line_bands
from twinangle.agreement.condition_spread import (
    ConditionSpread,
    PairedSpread,
    paired_spread,
    windows_spread,
)
from twinangle.agreement.conditions import compare_conditions
from twinangle.agreement.conditions_adjusted import compare_conditions_adjusted
from twinangle.agreement.serial_spread import log_unbiased_factor

Held = dict[str, np.ndarray]
Z = half_width(0.95)
CHECKED = 3  # studies of a cell that also go through the public functions
CHUNK = 500  # studies at a time, to bound memory


@dataclass(frozen=True)
class Design:
    """What the differences of a study look like."""

    name: str
    shape: str = "normal"  # of the participants' levels: a name below, or "skewness 1.4"
    spread_sd: float = 0.0  # of ln(SD within) over participants
    serial: float = 0.0  # correlation of neighbouring cycles


def shaped(rng: np.random.Generator, shape: tuple[int, ...], name: str) -> np.ndarray:
    """Return values of mean 0 and variance 1 that are normal, or not, as the name says."""
    if name == "t, 4 df":
        return rng.standard_t(4, shape) / np.sqrt(2)
    if name == "one in five an outlier":  # three times as spread
        return rng.standard_normal(shape) * np.where(rng.random(shape) < 0.2, 3, 1) / np.sqrt(2.6)
    return standard(rng, shape, float(name.removeprefix("skewness ")) if "skew" in name else 0.0)


def standard(rng: np.random.Generator, shape: tuple[int, ...], skewness: float) -> np.ndarray:
    """Return values of mean 0, variance 1 and the skewness (a gamma distribution)."""
    if skewness == 0:
        return rng.standard_normal(shape)
    form = 4 / skewness**2
    return (rng.gamma(form, 1, shape) - form) / np.sqrt(form)


def serial_noise(
    rng: np.random.Generator, shape: tuple[int, ...], correlation: float
) -> np.ndarray:
    """Return values of variance 1 with a first-order serial correlation along the last axis."""
    noise = rng.standard_normal(shape)
    if correlation == 0:
        return noise
    noise[..., 1:] *= np.sqrt(1 - correlation**2)
    return signal.lfilter([1.0], [1.0, -correlation], noise, axis=-1)


def between(low: np.ndarray, truth: float, high: np.ndarray) -> np.ndarray:
    return (low <= truth) & (truth <= high)


def holds(interval: tuple[float, float], truth: float) -> bool:
    return bool(interval[0] <= truth <= interval[1])


def in_chunks(n: int, study: Callable[[int], Held], chunk: int = CHUNK) -> Held:
    """Run n studies, some at a time."""
    parts = [study(min(chunk, n - start)) for start in range(0, n, chunk)]
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def one_by_one(n: int, study: Callable[[], dict[str, bool]]) -> Held:
    """Run n studies through public functions, one after another."""
    rows = [study() for _ in range(n)]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


# ---- limits of agreement, several cycles a participant


def limit_studies(
    rng: np.random.Generator, n: int, k: int, sds: tuple[float, float], design: Design
) -> Held:
    """Bias and limits: ours, and beside them strides taken for people and published forms."""
    return in_chunks(n, lambda size: _limit_chunk(rng, size, k, sds, design))


def _limit_chunk(
    rng: np.random.Generator, n: int, k: int, sds: tuple[float, float], design: Design
) -> Held:
    cycles, used = _cycles(rng, n, k, sds, design)
    counts, means, squares = _summed(cycles, used)
    truth = Z * float(np.hypot(*sds))
    ours = limits_over_participants(means, squares / counts, 0.95, Z)
    naive = _naive(counts, means, squares)
    textbook = _textbook(counts, means, squares / (counts - 1))
    for i in range(min(CHECKED, n)):
        _check_limits(cycles[:, i], used[:, i], i, ours, naive, textbook)
    inner, outer = exact_limit_factors(k)
    sd = means.std(axis=0, ddof=1)
    plain = (ours.bias, ours.bias, ours.bias - outer * sd, ours.bias - inner * sd,
             ours.bias + inner * sd, ours.bias + outer * sd)  # fmt: skip
    bounds = (ours.bias, ours.bias, *_bounds(ours))
    return {
        "bias": np.abs(ours.bias) <= ours.half,
        "a limit": _limit(bounds, truth),
        "lower": between(ours.lower_low, -truth, ours.lower_high),
        "upper": between(ours.upper_low, truth, ours.upper_high),
        "beyond outer": _beyond(bounds, truth),
        "naive bias": between(naive[0], 0, naive[1]),
        "naive limit": _limit(naive, truth),
        "MOVER limit": _limit(textbook, truth),
        "t on means": _limit(plain, truth),
        "its beyond": _beyond(plain, truth),
        "width to its": (bounds[5] - bounds[4]) / (plain[5] - plain[4]),
    }


def _cycles(
    rng: np.random.Generator, n: int, k: int, sds: tuple[float, float], design: Design
) -> tuple[np.ndarray, np.ndarray]:
    """Return 60 places for cycles of k participants in n studies, and which of them are used."""
    counts = rng.integers(5, 61, (k, n))
    level = sds[0] * shaped(rng, (k, n), design.shape)
    # Scaled so that the mean variance within participants stays within².
    own = sds[1] * np.exp(design.spread_sd * rng.standard_normal((k, n)) - design.spread_sd**2)
    noise = serial_noise(rng, (k, n, 60), design.serial)
    return level[..., None] + own[..., None] * noise, np.arange(60) < counts[..., None]


def _summed(cycles: np.ndarray, used: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return counts, means and sums of squares about them."""
    counts = used.sum(axis=-1)
    means = np.where(used, cycles, 0).sum(axis=-1) / counts
    return counts, means, np.where(used, (cycles - means[..., None]) ** 2, 0).sum(axis=-1)


def _beyond(bounds: tuple[np.ndarray, ...], truth: float) -> np.ndarray:
    """Return the share of both limits that lies beyond the outer end of its interval."""
    return ((bounds[2] > -truth) + (bounds[5] < truth).astype(float)) / 2


def _limit(bounds: tuple[np.ndarray, ...], truth: float) -> np.ndarray:
    """Return the share of both limits whose interval held the truth."""
    lower, upper = between(bounds[2], -truth, bounds[3]), between(bounds[4], truth, bounds[5])
    return (lower + upper.astype(float)) / 2


@lru_cache
def _factor_table() -> tuple[np.ndarray, np.ndarray]:
    """Return exact factors over 1/√n, for interpolation: exact to 5 decimals."""
    n = np.unique(np.round(np.geomspace(20, 3700, 170)).astype(int))
    return 1 / np.sqrt(n[::-1]), np.array([exact_limit_factors(int(m)) for m in n[::-1]])


def _naive(counts: np.ndarray, means: np.ndarray, squares: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return the bounds of bias, lower and upper limit with strides taken for people."""
    n = counts.sum(axis=0)
    mean = (counts * means).sum(axis=0) / n
    sd = np.sqrt((squares + counts * (means - mean) ** 2).sum(axis=0) / (n - 1))
    half = special.stdtrit(n - 1, 0.975) * sd / np.sqrt(n)
    where, table = _factor_table()
    inner, outer = (np.interp(1 / np.sqrt(n), where, column) for column in table.T)
    return (
        mean - half, mean + half, mean - outer * sd, mean - inner * sd,
        mean + inner * sd, mean + outer * sd,
    )  # fmt: skip


def _textbook(
    counts: np.ndarray, means: np.ndarray, variances: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Return the bounds of the one-way form of 2007 with MOVER intervals (Zou 2013)."""
    k, n = counts.shape[0], counts.sum(axis=0)
    mean = (counts * means).sum(axis=0) / n
    square = (counts * (means - mean) ** 2).sum(axis=0) / (k - 1)
    within = ((counts - 1) * variances).sum(axis=0) / (n - k)
    divisor = (n**2 - (counts**2).sum(axis=0)) / ((k - 1) * n)
    total = np.maximum((square - within) / divisor, 0) + within
    kept = np.minimum(square / divisor, total)
    rest, sd = total - kept, np.sqrt(total)
    low_a, high_a = _shares(k - 1)
    low_b, high_b = _shares(n - k)
    high = np.sqrt(total + np.hypot(kept * high_a, rest * high_b))
    low = np.sqrt(np.maximum(total - np.hypot(kept * low_a, rest * low_b), 0))
    error = (counts * (means - mean) / n) ** 2
    half = two_sided_student(0.95, k - 1) * np.sqrt(error.sum(axis=0) * k / (k - 1))
    outer, inner = np.hypot(half, Z * (high - sd)), np.hypot(half, Z * (sd - low))
    lower, upper = mean - Z * sd, mean + Z * sd
    return mean - half, mean + half, lower - outer, lower + inner, upper - inner, upper + outer


def _shares(df: np.ndarray | int) -> tuple[np.ndarray, np.ndarray]:
    return 1 - df / special.chdtri(df, 0.025), df / special.chdtri(df, 0.975) - 1


def _bounds(ours: ParticipantLimits) -> tuple[np.ndarray, ...]:
    return ours.lower_low, ours.lower_high, ours.upper_low, ours.upper_high


def _check_limits(cycles, used, i, ours, naive, textbook) -> None:
    """Hold one study against the public functions."""
    values, people = cycles[used], np.nonzero(used)[0]
    single = limits_of_agreement(values, people)
    bounds = [bound[i] for bound in _bounds(ours)]
    assert_allclose(bounds, [*single.lower_ci, *single.upper_ci], rtol=1e-9)
    assert_allclose([ours.bias[i], ours.half[i]], [single.bias, np.diff(single.bias_ci)[0] / 2])
    one_way = limits_of_agreement(values, people, form="analysis-of-variance")
    pairs = ((naive, limits_of_agreement(values), 1e-4), (textbook, one_way, 1e-9))
    for found, public, error in pairs:
        expected = [*public.bias_ci, *public.lower_ci, *public.upper_ci]
        assert_allclose([bound[i] for bound in found], expected, rtol=error, atol=error)


def single_studies(rng: np.random.Generator, n: int, k: int, skewness: float) -> Held:
    """One pair a participant: exact intervals, alone and for both limits, and 1986's."""
    values = standard(rng, (n, k), skewness)
    mean, sd = values.mean(axis=1), values.std(axis=1, ddof=1)
    inner, outer = exact_limit_factors(k)
    both_inner, both_outer = exact_pair_factors(k)
    half = two_sided_student(0.95, k - 1) * sd / np.sqrt(k)
    for i in range(min(CHECKED, n)):
        public = limits_of_agreement(values[i])
        assert_allclose(public.upper_ci, [mean[i] + inner * sd[i], mean[i] + outer * sd[i]])
        assert_allclose(public.bias_ci, [mean[i] - half[i], mean[i] + half[i]])
    classical = two_sided_student(0.95, k - 1) * sd * np.sqrt(1 / k + Z**2 / (2 * (k - 1)))
    upper = between(mean + inner * sd, Z, mean + outer * sd)
    lower = between(mean - outer * sd, -Z, mean - inner * sd)
    inside = (mean + both_outer * sd >= Z) & (mean - both_outer * sd <= -Z)
    outside = (mean + both_inner * sd <= Z) & (mean - both_inner * sd >= -Z)
    return {
        "bias": np.abs(mean) <= half,
        "lower": lower,
        "upper": upper,
        "pair": inside & outside,
        "1999 form": np.abs(mean + Z * sd - Z) <= classical,
    }


# ---- the warning of a shape that is not normal


def flag_studies(rng: np.random.Generator, n: int, k: int, shape: str) -> Held:
    """Whether the shape is warned of, from one pair each and from cycles that vary more."""
    design = Design(shape, shape, spread_sd=0.6)

    def study() -> dict[str, bool]:
        single = shaped(rng, (k,), shape)
        cycles, used = _cycles(rng, 1, k, (1.0, 2.0), design)
        values, people = cycles[:, 0][used[:, 0]], np.nonzero(used[:, 0])[0]
        return {
            "one pair each": _flagged(single, None),
            "cycles, within 2, SD of ln 0.6": _flagged(values, people),
        }

    return one_by_one(n, study)


def _flagged(values: np.ndarray, people: np.ndarray | None) -> bool:
    compared = compared_values(values, variance_components(values, people))
    return normality_p(compared) < FALSE_ALARMS


# ---- per-cycle SD of two conditions


@dataclass(frozen=True)
class ConditionDesign:
    """Cycles and serial correlations of both conditions, each anywhere between two numbers."""

    name: str
    cycles: tuple[tuple[int, int], tuple[int, int]]
    serial: tuple[tuple[float, float], tuple[float, float]]
    points: int = 5  # of a curve, independent, of SDs from 0.6 to 1.4


TRUE_RATIO = 1.2  # of a typical participant's SDs


def condition_studies(rng: np.random.Generator, n: int, k: int, design: ConditionDesign) -> Held:
    """Ratio and difference of two conditions' SDs over cycles, participants paired."""
    return in_chunks(n, lambda size: _condition_chunk(rng, size, k, design), chunk=100)


def _condition_chunk(rng: np.random.Generator, n: int, k: int, design: ConditionDesign) -> Held:
    counts, curves, truth = _condition_curves(rng, n, k, design)
    spread, sds = _condition_spread(counts, curves)
    _check_conditions(curves[0], counts[0], paired_spread(spread, 0.95))
    freed = np.log(sds) - log_unbiased_factor(counts)
    t = two_sided_student(0.95, k - 1) / np.sqrt(k)
    logs, pairs = np.diff(freed, axis=-1)[..., 0], np.diff(np.exp(freed), axis=-1)[..., 0]
    middle, half = pairs.mean(axis=1), t * pairs.std(axis=1, ddof=1)
    forms = {
        "": paired_spread(spread, 0.95),
        "windows: ": windows_spread(spread, 0.95),
        "c4: ": PairedSpread(
            logs.mean(axis=1), t * logs.std(axis=1, ddof=1), middle, middle - half, middle + half,
            logs,
        ),
    }  # fmt: skip
    held: Held = {}
    for name, form in forms.items():
        off = form.log_ratio - np.log(TRUE_RATIO)
        held |= {
            f"{name}ratio off %": off,
            f"{name}ratio": np.abs(off) <= form.log_half,
            f"{name}diff. off %": form.difference - truth,
            f"{name}difference": between(form.low, truth, form.high),
            f"{name}diff. below": form.high < truth,
        }
    return held


def _condition_curves(
    rng: np.random.Generator, n: int, k: int, design: ConditionDesign
) -> tuple[np.ndarray, np.ndarray, float]:
    """Return numbers of cycles (n, k, 2), curves (n, k, 2, cycles, points), true difference."""
    counts = np.stack([rng.integers(a, b + 1, (n, k)) for a, b in design.cycles], axis=-1)
    serial = np.stack([rng.uniform(a, b, (n, k)) for a, b in design.serial], axis=-1)[..., None]
    longest = max(most for _, most in design.cycles)
    curves = rng.standard_normal((n, k, 2, longest, design.points))
    curves[..., 1:, :] *= np.sqrt(1 - serial[..., None] ** 2)
    for j in range(1, longest):
        curves[..., j, :] += serial * curves[..., j - 1, :]
    size = np.exp(0.3 * rng.standard_normal((n, k, 1)))
    change = TRUE_RATIO * np.exp(0.1 * rng.standard_normal((n, k, 1)))
    points = np.linspace(0.6, 1.4, design.points) if design.points > 1 else np.ones(1)
    curves *= np.concatenate([size, size * change], axis=-1)[..., None, None] * points
    return counts, curves, float(np.exp(0.045) * (TRUE_RATIO * np.exp(0.005) - 1))


def _condition_spread(counts: np.ndarray, curves: np.ndarray) -> tuple[ConditionSpread, np.ndarray]:
    """Return the sums of `ConditionSpread` of many studies at once, and the SDs over all cycles."""
    longest = curves.shape[-2]
    used = (np.arange(longest) < counts[..., None])[..., None]
    mean = np.where(used, curves, 0).sum(axis=-2, keepdims=True) / counts[..., None, None]
    centred = np.where(used, curves - mean, 0)
    squares = (centred**2).sum(axis=-2)
    sds = np.sqrt(squares / (counts[..., None] - 1)).mean(axis=-1)
    window = counts.min(axis=-1)
    starts = np.arange(longest)
    ends = np.minimum(starts + window[..., None], longest)[:, :, None, :, None]
    sums = []
    for values in (centred, centred**2):
        total = np.cumsum(np.concatenate([np.zeros_like(values[..., :1, :]), values], -2), -2)
        after = np.take_along_axis(total, np.broadcast_to(ends, values.shape), axis=-2)
        sums.append(after - total[..., :-1, :])
    m = window[..., None, None, None]
    whole = starts <= counts[..., None] - window[..., None, None]
    variance = np.maximum(sums[1] - sums[0] ** 2 / m, 1e-300) / (m - 1)
    of_runs = np.where(whole, np.sqrt(variance).mean(axis=-1), 1.0)
    runs = whole.sum(axis=-1)
    product = np.einsum("skctp,skctq->skcpq", centred, centred)
    root = np.sqrt(squares)
    alike = product**2 / (root[..., :, None] * root[..., None, :])
    spread = ConditionSpread(*(
        np.moveaxis(np.asarray(part, dtype=float), 0, -1)
        for part in (
            window,
            np.log(of_runs).sum(axis=-1) / runs,
            np.where(whole, of_runs, 0).sum(axis=-1) / runs,
            counts[..., None],
            squares.sum(axis=-1)[..., None],
            (centred[..., 1:, :] * centred[..., :-1, :]).sum(axis=(-1, -2))[..., None],
            alike.sum(axis=(-1, -2)) / root.sum(axis=-1) ** 2,
        )
    ))  # fmt: skip
    return spread, sds


def _check_conditions(curves: np.ndarray, counts: np.ndarray, found: PairedSpread) -> None:
    """Hold the first of the studies against the public function."""
    rows = [(p, c) for p in range(counts.shape[0]) for c in (0, 1)]
    (public,) = compare_conditions(
        pd.DataFrame(rows, columns=["participant", "condition"]),
        against="0",
        variability=[curves[p, c, : counts[p, c]] for p, c in rows],
    )
    ends = found.log_ratio[0] - found.log_half[0], found.log_ratio[0] + found.log_half[0]
    assert_allclose(np.log(public.ratio_ci), ends, atol=1e-8)
    assert_allclose(public.difference, found.difference[0], atol=1e-8)
    assert_allclose(public.difference_ci, [found.low[0], found.high[0]], atol=1e-6)


def lone_condition_studies(
    rng: np.random.Generator, n: int, cycles: tuple[int, int], serial: float, points: int
) -> Held:
    """Ratio and difference of one participant's SDs, intervals over cycles."""
    frame = pd.DataFrame({"participant": ["P", "P"], "condition": ["0", "1"]})

    def study() -> dict[str, bool]:
        pair = [
            size * serial_noise(rng, (points, length), serial).T
            for length, size in zip(cycles, (1.0, TRUE_RATIO), strict=True)
        ]
        (found,) = compare_conditions(frame, against="0", variability=pair)
        return {
            "ratio off %": np.log(found.ratio / TRUE_RATIO),
            "ratio": holds(found.ratio_ci, TRUE_RATIO),
            "difference": holds(found.difference_ci, TRUE_RATIO - 1),
        }

    return one_by_one(n, study)


# ---- one participant: two instruments on the same cycles

POINTS = np.linspace(0, 1, 101)
BASIS = np.array([np.ones(101)] + [np.sqrt(2) * np.cos(np.pi * m * POINTS) for m in range(1, 8)])
SIZES = np.array([0.6, 0.5, 0.5, 0.4, 0.3, 0.2, 0.2, 0.1])


def knee(phase: np.ndarray) -> np.ndarray:
    """Return a stylised knee in degrees that repeats."""
    bumps = ((14, 0.14, 0.06), (59, 0.72, 0.09))
    return 3 + sum(
        size * np.exp(-(((phase % 1 - centre + lap) / width) ** 2) / 2)
        for size, centre, width in bumps
        for lap in (-1, 0, 1)
    )


REFERENCE = knee(POINTS)
TEST = 1.0 + 1.03 * knee(POINTS - 0.006) + 0.8 * np.sin(6 * np.pi * POINTS)


def trial(rng: np.random.Generator, n: int, serial: float) -> tuple[np.ndarray, np.ndarray]:
    """Return n cycles of both instruments: shared variation, and the test's own error."""
    scores = serial_noise(rng, (2, SIZES.size, n), serial)
    shared, own = (part.T * SIZES @ BASIS for part in scores)
    return TEST + shared + 0.6 * own, REFERENCE + shared


def sd_studies(rng: np.random.Generator, n: int, cycles: int, serial: float) -> Held:
    """Each SD, their ratio and difference, the SD added; the F interval of unpaired ones."""
    r = float(np.sqrt(SIZES**2 @ BASIS**2).mean())
    w = r * float(np.sqrt(1.36))

    def study() -> dict[str, bool]:
        test, reference = trial(rng, cycles, serial)
        found = compare_variability(test, reference)
        f = np.sqrt(special.fdtri(cycles - 1, cycles - 1, 0.975))
        return {
            "SD": holds(cycle_variability(test).sd_ci, w),
            "ratio": holds(found.ratio_ci, np.sqrt(1.36)),
            "difference": holds(found.difference_ci, w - r),
            "added SD": holds(found.added_sd_ci, 0.6 * r),
            "F, unpaired": holds((found.ratio / f, found.ratio * f), np.sqrt(1.36)),
        }

    return one_by_one(n, study)


def curve_studies(rng: np.random.Generator, n: int, cycles: int, serial: float) -> Held:
    """Numbers of the mean curves; the offset with cycles taken as independent beside."""
    many = compare_curves(TEST[None], REFERENCE[None])
    names = {
        "offset": "offset", "RMS dem.": "rms_demeaned", "RMSE": "rmse",
        "range": "range_difference", "r": "correlation", "slope": "slope",
        "intercept": "intercept",
    }  # fmt: skip

    def study() -> dict[str, bool]:
        test, reference = trial(rng, cycles, serial)
        found = compare_curves(test, reference)
        held = {
            name: holds(getattr(found, f"{field}_ci"), getattr(many, field))
            for name, field in names.items()
        }
        level = (test - reference).mean(axis=1)
        half = two_sided_student(0.95, cycles - 1) * level.std(ddof=1) / np.sqrt(cycles)
        return held | {"naive offset": abs(level.mean() - many.offset) <= half}

    return one_by_one(n, study)


REPEATING = ("offset", "range", "timing", "shared", "pattern")


def budget_studies(rng: np.random.Generator, n: int, cycles: int, serial: float) -> Held:
    """Parts of the error budget of one participant.

    The truth of what repeats is that of the curves without noise, of what varies that of 4000
    independent cycles, with what neighbours share as slow drift.
    """
    fixed = error_budget(TEST[None], REFERENCE[None])
    many = error_budget(*trial(np.random.default_rng(1), 4000, 0.0))
    shared = max(serial, 0.0) * (0.6 * SIZES[0]) ** 2
    truth = {name: getattr(fixed, name) for name in REPEATING}
    truth |= {name: getattr(many, name) for name in ("cycle_range", "cycle_timing", "random")}
    truth |= {"slow_drift": shared, "cycle_offset": max(many.cycle_offset - shared, 0.0)}
    truth["total"] = fixed.total + float(0.36 * (SIZES**2 @ BASIS**2).mean())

    def study() -> dict[str, bool]:
        found = error_budget(*trial(rng, cycles, serial))
        names = [name for name in truth if truth[name] > 0.01 * truth["total"]]
        return {name: holds(getattr(found, f"{name}_ci"), truth[name]) for name in names}

    return one_by_one(n, study)


def within_studies(rng: np.random.Generator, n: int, cycles: int, serial: float) -> Held:
    """Limits within one participant, and the width of the bias's interval.

    The width in percent of that which Student's t has where the serial correlation is known.
    """
    lags = np.abs(np.subtract.outer(np.arange(cycles), np.arange(cycles)))
    inverse = np.linalg.inv(float(serial) ** lags)
    counted, t = inverse.sum(), two_sided_student(0.95, cycles - 1)
    widths: list[float] = []

    def study() -> dict[str, bool]:
        values = serial_noise(rng, (cycles,), serial)
        found = within_participant_limits(values)
        apart = values - inverse.sum(axis=0) @ values / counted
        known = t * np.sqrt(apart @ inverse @ apart / (cycles - 1) / counted)
        widths.append((found.bias_ci[1] - found.bias_ci[0]) / 2 / known)
        return {
            "bias": holds(found.bias_ci, 0),
            "lower": holds(found.lower_ci, -Z),
            "upper": holds(found.upper_ci, Z),
        }

    held, width = one_by_one(n, study), np.array(widths)
    return held | {"width, median": np.full(n, np.median(width)), "width, mean": width}


def drift_studies(rng: np.random.Generator, n: int, cycles: int) -> Held:
    """Limits within one participant, half of the variance a slow drift (0.8), half independent."""

    def study() -> dict[str, bool]:
        slow, own = serial_noise(rng, (cycles,), 0.8), rng.standard_normal(cycles)
        found = within_participant_limits((slow + own) / np.sqrt(2))
        return {
            "bias": holds(found.bias_ci, 0),
            "lower": holds(found.lower_ci, -Z),
            "upper": holds(found.upper_ci, Z),
        }

    return one_by_one(n, study)


# ---- curve numbers and budgets over participants


def pooled_studies(rng: np.random.Generator, n: int, k: int) -> Held:
    """Numbers over participants: arithmetic means of RMS, and of mean squares of few freedoms."""
    scores = rng.standard_normal((n, k, 8))
    t = two_sided_student(0.95, k - 1) / np.sqrt(k)
    found: Held = {}
    for df in (3, 8):
        rms = np.sqrt((scores[..., :df] ** 2).mean(axis=-1))
        truth = np.sqrt(2 / df) * special.poch(df / 2, 0.5)  # the mean of a chi variable over √df
        bounds = np.array([log_mean_interval(row, 0.95) for row in rms])
        found[f"mean RMS, {df} df"] = between(bounds[:, 0], truth, bounds[:, 1])
    for spread in (0.3, 0.7):
        rms = np.exp(spread * scores[..., 0])
        bounds = np.array([log_mean_interval(row, 0.95) for row in rms])
        truth = np.exp(spread**2 / 2)
        found[f"mean RMS, ln-SD {spread:g}"] = between(bounds[:, 0], truth, bounds[:, 1])
    for df in (1, 3, 8):
        squares = (scores[..., :df] ** 2).mean(axis=-1)
        bounds = np.array([log_mean_interval(row, 0.95) for row in squares])
        found[f"part, {df} df"] = between(bounds[:, 0], 1, bounds[:, 1])
    plain = (scores[..., :3] ** 2).mean(axis=-1)
    found["plain t, 3 df"] = np.abs(plain.mean(axis=1) - 1) <= t * plain.std(axis=1, ddof=1)
    return found


def instrument_studies(
    rng: np.random.Generator, n: int, k: int, spread: float, serial: tuple[float, float] = (0, 0)
) -> Held:
    """SDs of two instruments over participants who differ in theirs; all cycles pooled beside.

    `serial`: serial correlations of the movement and of the test's own error.
    """
    r = float(np.sqrt(SIZES**2 @ BASIS**2).mean())
    mean, square = float(np.exp(spread**2 / 2)), float(np.exp(2 * spread**2))

    def study() -> dict[str, bool]:
        counts = rng.integers(5, 61, k)
        test, reference = [], []
        for m in counts:
            sd = np.exp(spread * rng.standard_normal())
            seen, own = (
                sd * (serial_noise(rng, (SIZES.size, m), each).T * SIZES) @ BASIS for each in serial
            )
            test.append(cycle_variability(seen + 0.6 * own))
            reference.append(cycle_variability(seen))
        found = pool_variability(test, reference, range(k))
        free, degrees = counts - 1, int(counts.sum()) - k
        squares = [[one.sd**2, other.sd**2] for one, other in zip(test, reference, strict=True)]
        ratio = np.sqrt(np.divide(*(free @ np.array(squares))))
        f = np.sqrt(special.fdtri(degrees, degrees, 0.975))
        return {
            "SD": holds(found.reference_sd_ci, r * mean),
            "test SD": holds(found.test_sd_ci, r * mean * np.sqrt(1.36)),
            "ratio": holds(found.ratio_ci, np.sqrt(1.36)),
            "difference": holds(found.difference_ci, r * mean * (np.sqrt(1.36) - 1)),
            "added SD": holds(found.added_sd_ci, 0.6 * r * np.sqrt(square)),
            "naive ratio": holds((ratio / f, ratio * f), np.sqrt(1.36)),
        }

    return one_by_one(n, study)


def adjusted_studies(rng: np.random.Generator, n: int, k: int, trials: int) -> Held:
    """Ratio of two conditions at equal speed, where outdoors is walked faster."""
    people = np.repeat(np.arange(k), 2 * trials)
    outdoors = np.tile(np.repeat([0.0, 1.0], trials), k)
    frame = pd.DataFrame(
        {"participant": people, "condition": np.where(outdoors > 0, "outdoor", "indoor")}
    )

    def study() -> dict[str, bool]:
        usual, level = 0.1 * rng.standard_normal(k), 0.15 * rng.standard_normal(k)
        speed = 1.3 + usual[people] + 0.1 * outdoors + 0.06 * rng.standard_normal(people.size)
        logs = (
            level[people] + 0.1 * outdoors - 0.5 * speed + 0.08 * rng.standard_normal(people.size)
        )
        table = frame.assign(value=np.exp(logs), speed_m_s=speed)
        (found,) = compare_conditions_adjusted(table, against="indoor", covariates=["speed_m_s"])
        (plain,) = compare_conditions(table, against="indoor")
        truth = float(np.exp(0.1))
        return {
            "ratio": holds(found.ratio_ci, truth),
            "speed left out": holds(plain.ratio_ci, truth),
        }

    return one_by_one(n, study)


# ---- bands


def band_studies(rng: np.random.Generator, n: int, k: int, skewness: float) -> Held:
    """Whole-curve bands at 90 %: of the true mean curve, and of a new participant's."""

    def study() -> dict[str, bool]:
        people = np.repeat(np.arange(k), rng.integers(5, 31, k))
        level = standard(rng, (k, SIZES.size), skewness) * SIZES @ BASIS
        curves = level[people] + rng.standard_normal((people.size, SIZES.size)) * SIZES @ BASIS
        band = curve_band(curves, people, confidence=0.9)
        narrow = (band.upper - band.mean) * band.pointwise / band.critical
        fresh = standard(rng, (SIZES.size,), skewness) * SIZES @ BASIS
        fresh = fresh + rng.standard_normal(SIZES.size) / np.sqrt(15) * SIZES @ BASIS
        new = curve_band(curves, people, target="new-participant", confidence=0.9)
        return {
            "mean curve": bool(np.all((band.lower <= 0) & (band.upper >= 0))),
            "new participant": bool(np.all((new.lower <= fresh) & (new.upper >= fresh))),
            "pointwise": bool(np.all(np.abs(band.mean) <= narrow)),
        }

    return one_by_one(n, study)


# ---- further forms, through their public functions


def form_studies(rng: np.random.Generator, n: int, k: int) -> Held:
    """Regression-based and percentile limits, Deming's line."""

    def study() -> dict[str, bool]:
        size = rng.normal(50, 10, k)
        reference, test = size + rng.normal(0, 1, k), 1 + 1.1 * size + rng.normal(0, 1, k)
        # var(test - reference) and its covariance with the mean of both, from the model
        slope = (1.1**2 - 1) * 100 / ((2.1**2 * 100 + 2) / 4) / 2
        line = deming_regression(test, reference, error_ratio=1.0)
        ranks = percentile_limits(rng.standard_normal(k))
        return {
            "slope": holds(regression_limits(test, reference).slope_ci, slope),
            "Deming slope": holds(line.slope_ci, 1.1),
            "Deming intercept": holds(line.intercept_ci, 1.0),
            "median": holds(ranks.median_ci, 0.0),
            "2.5 percentile": holds(ranks.lower_ci, -Z),
        }

    return one_by_one(n, study)


def reliability_studies(rng: np.random.Generator, n: int, k: int) -> Held:
    """ICC forms, SEM and Lin's concordance of test and retest; that also with a shift of 1 SD."""

    def study() -> dict[str, bool]:
        scores = 2 * rng.standard_normal((k, 1)) + rng.standard_normal((k, 2))
        icc = {one.form: one.value_ci for one in intraclass_correlations(scores)}
        return {
            "ICC(1,1)": holds(icc["ICC(1,1)"], 0.8),
            "ICC(2,1)": holds(icc["ICC(2,1)"], 0.8),
            "ICC(3,1)": holds(icc["ICC(3,1)"], 0.8),
            "SEM": holds(measurement_error(scores).sem_ci, 1.0),
            "Lin": holds(concordance(*scores.T).value_ci, 0.8),
            "Lin, normal z": holds(concordance(*scores.T, small_sample=False).value_ci, 0.8),
            "Lin, shift": holds(concordance(scores[:, 0] + 1, scores[:, 1]).value_ci, 8 / 11),
        }

    return one_by_one(n, study)


def model_studies(
    rng: np.random.Generator,
    n: int,
    k: int,
    sds: tuple[float, float, float],
    sessions: tuple[int, int],
    cycles: tuple[int, int],
    spread: float = 0.0,
) -> Held:
    """Mixed model, sessions nested in participants; all cycles pooled, and MOVER, beside.

    The fit is the closed form that the public function starts statsmodels from; the first studies
    go through that function too and must agree.
    """
    truth = Z * float(np.sqrt(np.square(sds).sum()))
    done = 0

    def study() -> dict[str, bool]:
        nonlocal done
        values, people, units = nested_differences(rng, k, sds, sessions, cycles, spread)
        sums = nested_sums(values, people, units)
        fit = fit_reml(sums)
        half = bias_half_width(fit, 0.95)
        lower, upper = model_limits(sums, fit, 0.95, Z)
        if done < CHECKED:
            public = mixed_model_limits(values, people, units if sums.nested else None)
            found = [fit.bias - half, fit.bias + half, *lower, *upper]
            expected = [*public.bias_ci, *public.lower_ci, *public.upper_ci]
            assert_allclose(found, expected, rtol=1e-3, atol=1e-3)
        done += 1
        mean, sd, size = values.mean(), values.std(ddof=1), values.size
        naive = two_sided_student(0.95, size - 1) * sd / np.sqrt(size)
        factors = _naive_factors(size)
        mover = _mover_limits(sums, fit)
        return {
            "bias": abs(fit.bias) <= half,
            "lower": holds(lower, -truth),
            "upper": holds(upper, truth),
            "naive bias": abs(mean) <= naive,
            "naive upper": holds((mean + factors[0] * sd, mean + factors[1] * sd), truth),
            "MOVER upper": holds(mover, truth),
        }

    return one_by_one(n, study)


def nested_differences(
    rng: np.random.Generator,
    k: int,
    sds: tuple[float, float, float],
    sessions: tuple[int, int],
    cycles: tuple[int, int],
    spread: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return differences, participants and units, counts uniform between the ends given."""
    several = rng.integers(sessions[0], sessions[1] + 1, k)
    several[0] = sessions[1]  # somebody has two where anybody may
    owner = np.repeat(np.arange(k), several)
    units = np.repeat(np.arange(owner.size), rng.integers(cycles[0], cycles[1] + 1, owner.size))
    own = sds[2] * np.exp(spread * rng.standard_normal(k) - spread**2)
    level = sds[0] * rng.standard_normal(k)[owner] + sds[1] * rng.standard_normal(owner.size)
    people = owner[units]
    return level[units] + own[people] * rng.standard_normal(units.size), people, units


def _naive_factors(n: int) -> tuple[float, float]:
    """Return exact factors for n differences taken as independent."""
    where, table = _factor_table()
    inner, outer = (float(np.interp(1 / np.sqrt(n), where, column)) for column in table.T)
    return inner, outer


def _mover_limits(sums: NestedSums, fit: RemlFit) -> tuple[float, float]:
    """Return the upper limit's interval with two parts of sd² recovered separately (Zou 2013)."""
    k, total = sums.k, fit.total
    kept = min(k * fit.bias_variance, total)
    free = sums.owner.size - k if sums.nested and fit.nested > fit.within else sums.n - k
    (low_a, high_a), (low_b, high_b) = _shares(k - 1), _shares(max(free, 1))
    variance = (
        total - np.hypot(kept * low_a, (total - kept) * low_b),
        total + np.hypot(kept * high_a, (total - kept) * high_b),
    )
    half = two_sided_student(0.95, k - 1) * np.sqrt(fit.bias_variance)
    return join_limits(fit.bias, float(np.sqrt(total)), float(half), Z, variance)[1]


# ---- limits that follow the size, at given sizes


def size_studies(
    rng: np.random.Generator, n: int, k: int, growth: float, *, constant_spread: bool
) -> Held:
    """Bias and limits at the smallest, middle and largest size of those seen."""
    size = rng.uniform(25, 75, (n, k))
    difference = 1 - 0.1 * size + (1 + growth * (size - 50)) * rng.standard_normal((n, k))
    where = np.stack([size.min(axis=1), size.mean(axis=1), size.max(axis=1)], axis=1)
    bounds = line_bands(
        size, difference, where, constant_spread=constant_spread, confidence=0.95, coverage=0.95
    )
    for i in range(min(CHECKED, n)):
        test, reference = size[i] + difference[i] / 2, size[i] - difference[i] / 2
        found = regression_limits(test, reference, constant_spread=constant_spread)
        for j, one in enumerate(found.intervals_at(where[i])):
            ends = [bounds[f"upper_ci_{end}"][i, j] for end in ("low", "high")]
            assert_allclose(one.upper_ci, ends)
    truth, reach = 1 - 0.1 * where, Z * (1 + growth * (where - 50))
    bias, lower, upper = (
        between(bounds[f"{name}_ci_low"], value, bounds[f"{name}_ci_high"])
        for name, value in (("bias", truth), ("lower", truth - reach), ("upper", truth + reach))
    )
    limit = (lower + upper.astype(float)) / 2
    return {
        f"{what}, {at}": each[:, j]
        for what, each in (("bias", bias), ("limit", limit))
        for j, at in enumerate(("smallest", "middle", "largest"))
    }
