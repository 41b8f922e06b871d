"""Cycle-to-cycle variability of two instruments over participants, with intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._from_frame import by_trial, columns, only_with_table
from twinangle.agreement._input import Floats, fraction
from twinangle.agreement._participants import log_mean_interval
from twinangle.agreement._people import mean_and_interval, people_notes
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity
from twinangle.agreement.condition_spread import lag_sums, points_alike
from twinangle.agreement.pooled_curves import participants_of
from twinangle.agreement.serial_spread import (
    expected_log_square,
    expected_loss,
    kept_share,
    serial_correlations,
)
from twinangle.agreement.variability import CycleVariability, cycle_variability
from twinangle.declare import data, number

if TYPE_CHECKING:
    import pandas as pd

FEWEST_FOR_LOGARITHM = 4
_LENT = 0.05  # share of the whole added to the rest, which may be too little to show its own
_QUANTITIES = ("test", "reference", "difference", "log ratio", "squares")


@dataclass(frozen=True, slots=True, eq=False)
class PooledVariability(Result):
    """Per-cycle standard deviations of two instruments over participants, paired."""

    test_sd: Annotated[
        float,
        data(
            "mean over participants of the test instrument's SD over cycles, freed of what "
            "few or serially correlated cycles make it lack"
        ),
    ]
    test_sd_ci: Interval
    reference_sd: Annotated[
        float,
        data(
            "mean over participants of the reference's SD over cycles, freed of what few or "
            "serially correlated cycles make it lack"
        ),
    ]
    reference_sd_ci: Interval
    ratio: Annotated[
        float,
        number(
            "geometric mean over participants of test over reference; NaN when an "
            "instrument did not vary in somebody"
        ),
    ]
    ratio_ci: Interval
    difference: Annotated[float, data("mean over participants of test - reference")]
    difference_ci: Interval
    added_sd: Annotated[
        float,
        data("√ of the mean over participants of test² - reference²; NaN when that is negative"),
    ]
    added_sd_ci: Interval
    test_serial: Annotated[
        float, number("serial correlation of the test instrument's cycles, all trials together")
    ]
    reference_serial: Annotated[
        float, number("serial correlation of the reference's cycles, all trials together")
    ]
    n_participants: Annotated[int, number("participants")]
    n_trials: Annotated[int, number("trials")]
    confidence: Annotated[float, number("confidence of the intervals")]
    notes: Annotated[tuple[str, ...], number("what to know before the numbers are used")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        added = (
            f"the test instrument adds {quantity(self.added_sd, unit)} "
            f"({interval(self.added_sd_ci, unit, self.confidence)})"
            if np.isfinite(self.added_sd)
            else "the test instrument varies less, so it has no added standard deviation"
        )
        return (
            f"Over {counted(self.n_participants, 'participant')} the standard deviation over "
            f"cycles was {quantity(self.test_sd, unit)} against "
            f"{quantity(self.reference_sd, unit)}: difference {quantity(self.difference, unit)} "
            f"({interval(self.difference_ci, unit, self.confidence)}), ratio "
            f"{quantity(self.ratio, '')} ({interval(self.ratio_ci, '', self.confidence)}); {added}."
        )


def pool_variability(
    test: Sequence[CycleVariability] | str,
    reference: Sequence[CycleVariability] | str,
    participant: ArrayLike | Sequence[object] | str,
    *,
    confidence: float = 0.95,
    data: pd.DataFrame | None = None,
    trial: str | Sequence[str] | None = None,
    cycle: str | Sequence[str] = "cycle",
    point: str = "percent",
) -> PooledVariability:
    """Average the per-cycle standard deviations of two instruments over participants.

    Parameters
    ----------
    test, reference : sequence of CycleVariability
        One a trial, of the same cycles in the order measured.
    participant : array_like, shape (n_trials,)
        Whose each is; a participant's trials are averaged first.
    confidence : float, default 0.95
        Of the intervals.
    data : DataFrame, optional
        A table with one row a point; the arguments before are then names of its columns, and
        :func:`cycle_variability` is taken of each trial.
    trial : str or sequence of str, optional
        Its columns that tell a participant's trials apart; without them, each has one.
    cycle, point : str
        Its columns of the cycle (or several that tell a trial's cycles apart) and of the point
        within it.

    Returns
    -------
    PooledVariability

    Raises
    ------
    ValueError
        If there is none, the lengths or cycles differ, a participant is missing, or `confidence` is
        not between 0 and 1.

    Notes
    -----
    Paired, so that what both instruments see of a participant cancels. With w and r the two
    standard deviations of a trial over n cycles, each of ln w, w, w² (and r) is freed of what it
    is expected to lack: few cycles, and cycles that resemble their neighbours, make an SD about
    their own mean too small, and more so that of the instrument whose cycles resemble each other
    more. What is missing is that of `expected_loss` (and `expected_log_square`) at the instrument's
    serial correlation, except that E/(n - 1) is made of two parts, each of first order with a
    correlation of its own: what both instruments share (the covariance of their cycles), and the
    rest of the instrument's variance. A movement that lasts over several cycles and an error that
    is new in each add up to no process of first order. All correlations are estimated from all
    trials together (`serial_correlations`); where the rest is next to nothing it takes that of the
    whole.

    Estimates and intervals of w, r, w - r and ln(w/r) are those of the delete-one-participant
    jackknife, the correlations estimated anew each time, Student's t on k - 1 degrees of freedom.
    Where the jackknife's w² - r² is above 0 in everyone (4 or more), its mean has the interval
    mean × exp(∓ t e) that `pool_budgets` uses, because squares of participants who differ in size
    are skewed. The interval of an SD is cut at 0. Two participants have no interval, nor have the
    few whose jackknife would make an SD less than 0: then the means without it stand. Forms that
    pool all cycles take strides for people and are too narrow.
    `benchmarks/coverage.py` shows what these hold.

    References
    ----------
    .. [1] Efron & Tibshirani (1993). An Introduction to the Bootstrap, ch. 11 (jackknife).
    """
    import pandas as pd

    confidence = fraction(confidence, "confidence")
    only_with_table(data, "test, reference", trial=trial)
    if data is not None:
        parts = by_trial(data, trial, participant=participant, test=test, reference=reference)
        participant = [code for code, _ in parts]
        how: dict[str, Any] = {"cycle": cycle, "point": point, "confidence": confidence}
        test, reference = (
            [cycle_variability(name, data=part, **how) for _, part in parts]
            for name in cast("tuple[str, str]", (test, reference))
        )
    columns(None, test=test, reference=reference, participant=participant)  # no names are left
    test = cast("Sequence[CycleVariability]", test)
    reference = cast("Sequence[CycleVariability]", reference)
    people = participants_of(participant, len(test), "test")
    trials = _trials(test, reference)
    codes = pd.factorize(people)[0]
    means, serial, whole = _pseudo_values(trials, codes)
    usable = means[:, :2].mean(axis=0).min() > 0 or not min(whole[:2]) > 0
    found = {
        name: mean_and_interval(means[:, i], confidence) if usable else (whole[i], NO_INTERVAL)
        for i, name in enumerate(_QUANTITIES)
    }
    log_ratio, log_ci = found["log ratio"]
    squares = means[:, _QUANTITIES.index("squares")]
    square, square_ci = found["squares"]
    if usable and squares.min() > 0 and squares.size >= FEWEST_FOR_LOGARITHM:
        square_ci = log_mean_interval(squares, confidence)
    return PooledVariability(
        test_sd=found["test"][0],
        test_sd_ci=_not_negative(found["test"][1]),
        reference_sd=found["reference"][0],
        reference_sd_ci=_not_negative(found["reference"][1]),
        ratio=float(np.exp(log_ratio)),
        ratio_ci=(float(np.exp(log_ci[0])), float(np.exp(log_ci[1]))),
        difference=found["difference"][0],
        difference_ci=found["difference"][1],
        added_sd=float(np.sqrt(square)) if square >= 0 else float("nan"),
        added_sd_ci=(_root(square_ci[0]), _root(square_ci[1])),
        test_serial=float(serial[0]),
        reference_serial=float(serial[1]),
        n_participants=len(means),
        n_trials=len(test),
        confidence=confidence,
        notes=_notes(means, square, usable),
        assumptions=(
            "Participants are independent, each counting once with the mean of their trials.",
            (
                "The cycles of an instrument have one serial correlation, of first order, in every "
                "trial."
            ),
            "The added SD takes the test instrument's own error as unrelated to the movement.",
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Trials:
    """What the cycles of each trial say, test and reference: (n_trials, 2); `n`: (n_trials, 1).

    `shared0`, `shared1`: sums of products of both at lags 0 and 1, (n_trials, 1).
    """

    n: Floats
    sd: Floats
    lag0: Floats
    lag1: Floats
    alike: Floats
    shared0: Floats
    shared1: Floats


def _trials(test: Sequence[CycleVariability], reference: Sequence[CycleVariability]) -> _Trials:
    """Gather the trials of both instruments, refusing those whose cycles differ in number."""
    if len(test) != len(reference):
        raise ValueError(
            f"`test` has {len(test)} trial(s) and `reference` {len(reference)}; they must be pairs."
        )
    for i, (one, other) in enumerate(zip(test, reference, strict=True)):
        if one.n_cycles != other.n_cycles:
            raise ValueError(
                f"trial {i} has {one.n_cycles} cycles of `test` and {other.n_cycles} of "
                "`reference`; both must be of the same cycles."
            )
    pairs = list(zip(test, reference, strict=True))
    lags = np.array([[lag_sums(one.curves) for one in pair] for pair in pairs])
    # of the sum of both instruments, from which those of their products follow
    both = np.array([lag_sums(one.curves + other.curves) for one, other in pairs])
    shared = (both - lags.sum(axis=1)) / 2
    return _Trials(
        n=np.array([[float(one.n_cycles)] for one, _ in pairs]),
        sd=np.array([[one.sd for one in pair] for pair in pairs]),
        lag0=lags[..., 0],
        lag1=lags[..., 1],
        alike=np.array([[points_alike(one.curves) for one in pair] for pair in pairs]),
        shared0=shared[:, :1],
        shared1=shared[:, 1:],
    )


def _pseudo_values(trials: _Trials, codes: NDArray[np.intp]) -> tuple[Floats, Floats, list[float]]:
    """Return the jackknife's pseudo-values of `_QUANTITIES`, (k, 5), and the correlations, (2,).

    With one participant the values themselves. Last, the means without the jackknife.
    """
    k = int(codes.max()) + 1
    # first column all trials, then each participant left out in turn
    kept = np.column_stack([np.ones(codes.size), codes[:, None] != np.arange(k)])
    kept = kept if k > 1 else kept[:, :1]
    values, serial = _freed(trials, kept)
    own = (np.arange(k)[:, None] == codes).astype(np.float64)
    means = np.einsum("kt,tqm->kqm", own / own.sum(axis=1, keepdims=True), values)
    if k == 1:
        return means[:, :, 0], serial[:, 0], means[0, :, 0].tolist()
    whole = means[:, :, 0].mean(axis=0)
    left_out = np.array([np.delete(means[:, :, i + 1], i, axis=0).mean(axis=0) for i in range(k)])
    found: Floats = k * whole - (k - 1) * left_out
    return found, serial[:, 0], whole.tolist()


def _freed(trials: _Trials, kept: Floats) -> tuple[Floats, Floats]:
    """Return `_QUANTITIES` of each trial freed of what they lack, (n_trials, 5, m); correlations.

    `kept`: (n_trials, m), 1 for the trials from which that is estimated, one column a time.
    """
    n = trials.n[:, :, None]
    alike = trials.alike.T @ kept / kept.sum(axis=0)
    serial = _serial(trials.n, trials.lag0, trials.lag1, kept)
    loss, factor = expected_loss(n, serial, alike)
    parts = 0.5 * np.log(_kept_of_parts(trials, kept) / kept_share(n, serial))
    square = expected_log_square(n, serial, alike) + 2 * parts
    sd = trials.sd[:, :, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(sd) - loss - parts
        log_ratio = logs[:, 0] - logs[:, 1]
    log_ratio[~np.isfinite(log_ratio)] = np.nan
    sds, squares = sd / np.exp(factor + parts), sd**2 / np.exp(square)
    columns = (
        sds[:, 0], sds[:, 1], sds[:, 0] - sds[:, 1], log_ratio, squares[:, 0] - squares[:, 1]
    )  # fmt: skip
    return np.stack(columns, axis=1), serial


def _kept_of_parts(trials: _Trials, kept: Floats) -> Floats:
    """Return E/(n - 1) of both instruments, (n_trials, 2, m), from what they share and the rest."""
    n = trials.n[:, :, None]
    rest0, rest1 = trials.lag0 - trials.shared0, trials.lag1 - trials.shared1
    # below 0 where an instrument smooths
    sign = np.where(rest0.T @ kept < 0, -1.0, 1.0)
    common = _serial(trials.n, trials.shared0, trials.shared1, kept)
    lent0, lent1 = _LENT * trials.lag0[..., None], _LENT * trials.lag1[..., None]
    rest = _serial(trials.n, sign * rest0[..., None] + lent0, sign * rest1[..., None] + lent1, kept)
    shares = kept_share(n, common), kept_share(n, rest)
    shared, own = (
        (lag0.T @ kept) / ((n - 1) * share * kept[:, None]).sum(axis=0)
        for lag0, share in ((trials.shared0, shares[0]), (rest0, shares[1]))
    )
    whole = shared + own
    of_shared = np.divide(shared, whole, out=np.ones_like(whole), where=whole > 0).clip(0.0, 1.0)
    found: Floats = of_shared * shares[0] + (1 - of_shared) * shares[1]
    return found


def _serial(n: Floats, lag0: Floats, lag1: Floats, kept: Floats) -> Floats:
    """Return the serial correlation of each instrument or part, for each column of `kept`."""
    lag0, lag1 = (x if x.ndim == 3 else x[..., None] for x in (lag0, lag1))
    lag0, lag1 = ((x * kept[:, None])[:, :, None] for x in (lag0, lag1))
    return serial_correlations(np.broadcast_to(n[..., None, None], lag0.shape), lag0, lag1)


def _root(value: float) -> float:
    """Return the root, 0 for a negative number, NaN for NaN."""
    return float(np.sqrt(np.maximum(value, 0.0)))


def _not_negative(bounds: Interval) -> Interval:
    """Return the interval of an SD, cut at 0: no SD lies below, so that this takes no coverage."""
    return max(bounds[0], 0.0), bounds[1]


def _notes(means: Floats, square: float, usable: bool) -> tuple[str, ...]:
    """Return what the numbers need said; `means`: as `_pseudo_values`."""
    own = {
        f"SD of the {name}": means[:, _QUANTITIES.index(column)]
        for name, column in (("test instrument", "test"), ("reference", "reference"))
    }
    said = list(people_notes(means.shape[0], own))
    if not usable:
        said.append(
            "Too few people and cycles to show how neighbouring cycles resemble each other: the "
            "jackknife over people would make an SD less than 0. The SDs have no interval."
        )
    if square < 0:
        said.append(
            "The test instrument varies less than the reference: w² - r² is negative and has no "
            "square root. Smoothing, or an error that opposes the movement, can do this."
        )
    return tuple(said)
