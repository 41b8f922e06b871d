"""One condition against another, paired within participants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from twinangle.agreement._input import fraction
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import NO_INTERVAL, Interval, Result, counted, interval, quantity

_COLUMNS = ("participant", "condition", "value")
_CONFOUNDERS = (
    "Conditions differ in more than place: speed, surface, turns, magnetic field and duration "
    "can each change the quantity; the comparison cannot tell them apart."
)
_PAIRED = (
    "Each participant counts once, with the mean of their trials; participants are independent "
    "and their differences normal."
)


@dataclass(frozen=True, slots=True, eq=False)
class ConditionDifference(Result):
    """How a quantity under one condition differs from another, over the same participants.

    Attributes
    ----------
    condition, against : str
        The condition, and the one it is compared with.
    n_participants : int
        Participants measured under both.
    difference : float
        Mean over participants of condition minus against.
    difference_ci : tuple of float
        Its interval; NaN with one participant.
    ratio : float
        Geometric mean over participants of condition / against; NaN unless every value is above 0.
    ratio_ci : tuple of float
        Its interval; NaN with one participant.
    confidence : float
        Of the intervals.
    note : str
        What to know before the numbers are used; empty when there is nothing.
    assumptions : tuple of str
        What the numbers rest on.
    """

    condition: str
    against: str
    n_participants: int
    difference: float
    difference_ci: Interval
    ratio: float
    ratio_ci: Interval
    confidence: float
    note: str
    assumptions: tuple[str, ...]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        people = counted(self.n_participants, "participant")
        return (
            f"{self.condition} against {self.against}, {people}: "
            f"difference {quantity(self.difference, unit)} "
            f"({interval(self.difference_ci, unit, self.confidence)}), ratio "
            f"{quantity(self.ratio, '')} ({interval(self.ratio_ci, '', self.confidence)})."
        )


def compare_conditions(
    frame: pd.DataFrame, *, against: str, confidence: float = 0.95
) -> tuple[ConditionDifference, ...]:
    """Compare every condition with one of them, paired within participants.

    Parameters
    ----------
    frame : DataFrame
        One row a trial, with columns `participant`, `condition` and `value`. With a further column
        `n_cycles`, the values are standard deviations over that many cycles, and the difference
        is of values freed of the small-sample bias, value / c4(n_cycles).
    against : str
        The condition the others are compared with.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    tuple of ConditionDifference
        One for each other condition, in order of first appearance; empty if there is none. A
        condition that shares no participant with `against` has 0 participants and NaN.

    Raises
    ------
    ValueError
        If a column or the condition `against` is missing, a participant, condition or value is
        missing or infinite, or a number of cycles is below 2.

    Notes
    -----
    Trials are averaged within participant and condition first, so participants are what is
    sampled. Difference: Student's t on the k participants' differences. Ratio: Student's t on
    their differences of logarithms, back-transformed. What they hold: `benchmarks/coverage.py`.
    With one participant there is no interval. c4(n) = √(2/(n - 1)) Γ(n/2) / Γ((n - 1)/2).

    References
    ----------
    .. [1] Bland & Altman (1996). BMJ 312, 1153 (differences of logarithms as ratios).
    """
    confidence = fraction(confidence, "confidence")
    table = checked_conditions(frame, against)
    means = _participant_means(table, table["value"].to_numpy(dtype=np.float64))
    logs = None
    if (table["value"] > 0).all():
        logs = _participant_means(table, np.log(table["value"].to_numpy(dtype=np.float64)))
    others = [name for name in pd.unique(table["condition"]) if name != against]
    return tuple(_difference(means, logs, name, against, confidence) for name in others)


def checked_conditions(frame: pd.DataFrame, against: str) -> pd.DataFrame:
    """Return the columns needed, checked, with the values freed of small-sample bias.

    Parameters
    ----------
    frame : DataFrame
        As `compare_conditions`.
    against : str
        A condition that must be among them.

    Returns
    -------
    DataFrame
        Columns participant, condition (both str) and value, one row a trial.

    Raises
    ------
    ValueError
        If a column, `against`, a name or a number is missing.
    """
    missing = [name for name in _COLUMNS if name not in frame.columns]
    if missing:
        raise ValueError(
            f"`frame` has no column {', '.join(map(repr, missing))}; it has "
            f"{', '.join(map(repr, frame.columns))}."
        )
    table = frame.loc[:, list(_COLUMNS)].reset_index(drop=True)
    for name in ("participant", "condition"):
        if table[name].isna().any():
            raise ValueError(f"`{name}` is missing in row {int(table[name].isna().argmax())}.")
        table[name] = table[name].astype(str)
    if against not in set(table["condition"]):
        raise ValueError(
            f"`against` is {against!r}, but the conditions are "
            f"{', '.join(map(repr, pd.unique(table['condition'])))}."
        )
    table["value"] = _numbers(frame, "value")
    if "n_cycles" in frame.columns:
        cycles = _numbers(frame, "n_cycles")
        if (cycles < 2).any():
            row = int(np.argmax(cycles < 2))
            raise ValueError(f"`n_cycles` in row {row} is {cycles[row]:g}; at least 2 are needed.")
        table["value"] /= unbiased_sd_factor(cycles)
    return table


def _numbers(frame: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column as finite numbers, or refuse it naming the row."""
    values = pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=np.float64)
    bad = ~np.isfinite(values)
    if bad.any():
        row = int(np.argmax(bad))
        raise ValueError(f"`{name}` in row {row} is {frame[name].iloc[row]!r}, not a number.")
    return np.asarray(values, dtype=np.float64)


def unbiased_sd_factor(n: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return c4(n), the expected share of σ that a standard deviation of n values shows.

    Parameters
    ----------
    n : ndarray of float
        Numbers of values, at least 2.

    Returns
    -------
    ndarray of float
        √(2/(n - 1)) Γ(n/2) / Γ((n - 1)/2); 0.797885 at n = 2.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 (the factor c4).
    """
    logs = special.gammaln(n / 2) - special.gammaln((n - 1) / 2)
    return np.asarray(np.sqrt(2 / (n - 1)) * np.exp(logs), dtype=np.float64)


def _participant_means(table: pd.DataFrame, values: NDArray[np.float64]) -> pd.DataFrame:
    """Return the mean over trials: a row a participant, a column a condition."""
    keys = [table["participant"], table["condition"]]
    return pd.Series(values).groupby(keys, sort=False).mean().unstack()  # noqa: PD010


def _difference(
    means: pd.DataFrame, logs: pd.DataFrame | None, name: str, against: str, confidence: float
) -> ConditionDifference:
    """Return one condition's difference from another."""
    pairs = (means[name] - means[against]).dropna().to_numpy(dtype=np.float64)
    difference, difference_ci = _mean_and_interval(pairs, confidence)
    ratio, ratio_ci = float("nan"), NO_INTERVAL
    notes = _notes(pairs.size)
    if logs is None:
        notes.append("Some values are not above 0: no ratio.")
    else:
        log_pairs = (logs[name] - logs[against]).dropna().to_numpy(dtype=np.float64)
        mean, bounds = _mean_and_interval(log_pairs, confidence)
        ratio = float(np.exp(mean))
        ratio_ci = (float(np.exp(bounds[0])), float(np.exp(bounds[1])))
    return ConditionDifference(
        condition=name,
        against=against,
        n_participants=pairs.size,
        difference=difference,
        difference_ci=difference_ci,
        ratio=ratio,
        ratio_ci=ratio_ci,
        confidence=confidence,
        note=" ".join(notes),
        assumptions=(_PAIRED, _CONFOUNDERS),
    )


def _mean_and_interval(values: NDArray[np.float64], confidence: float) -> tuple[float, Interval]:
    """Return the mean with Student's t interval; NaN where there is none."""
    if values.size == 0:
        return float("nan"), NO_INTERVAL
    mean = float(values.mean())
    if values.size == 1:
        return mean, NO_INTERVAL
    t = two_sided_student(confidence, values.size - 1)
    half = float(t * values.std(ddof=1) / np.sqrt(values.size))
    return mean, (mean - half, mean + half)


def _notes(n_participants: int) -> list[str]:
    """Return what the number of participants means for the comparison."""
    if n_participants == 0:
        return ["No participant was measured under both conditions: nothing can be compared."]
    if n_participants == 1:
        return [
            (
                "One participant: the difference is this participant's own, there is no "
                "interval, and nothing follows for others."
            )
        ]
    if n_participants < 4:
        return [f"{n_participants} participants only: the interval is wide and hard to check."]
    return []
