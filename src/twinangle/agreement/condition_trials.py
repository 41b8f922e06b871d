"""Trials of several participants and conditions gathered into the arrays of their spread."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement._input import Floats
from twinangle.agreement._result import counted
from twinangle.agreement.condition_spread import (
    ConditionSpread,
    lag_sums,
    points_alike,
    window_spread,
)
from twinangle.agreement.serial_spread import expected_loss, serial_correlations

if TYPE_CHECKING:
    import pandas as pd

FEWEST_CYCLES = 3  # of a trial: two show nothing of how neighbouring cycles resemble each other
Cycles = Mapping[tuple[str, str], list[Floats]]
"""The trials' curves by participant and condition."""


def freed_values(table: pd.DataFrame, curves: Sequence[Floats]) -> Floats:
    """Return each trial's SD over cycles, freed of what it falls short.

    Parameters
    ----------
    table : DataFrame
        Columns participant and condition, one row a trial.
    curves : sequence of ndarray, shape (n_cycles, n_points)
        The cycles of each row, at least 3.

    Returns
    -------
    ndarray, shape (n_trials,)
        Geometric mean of the SDs over all runs of m cycles, those of the participant's shortest
        trial, divided by what is expected of it at the condition's serial correlation.
    """
    import pandas as pd

    names = list(pd.unique(table["condition"]))
    cycles, _ = cycles_by_cell(table, curves)
    serial = serial_correlations(*_sums(cycles, list(pd.unique(table["participant"])), names))
    alike = np.asarray(np.mean([points_alike(each) for each in curves]))
    shortest = pd.Series([each.shape[0] for each in curves]).groupby(
        table["participant"].to_numpy()
    ).transform("min").to_numpy()  # fmt: skip
    logs = np.array(
        [window_spread(one, int(m))[0] for one, m in zip(curves, shortest, strict=True)]
    )
    of_row = serial[[names.index(name) for name in table["condition"]]]
    loss, _ = expected_loss(shortest.astype(np.float64), of_row, alike)
    return np.asarray(np.exp(logs - loss), dtype=np.float64)


def cycles_by_cell(
    table: pd.DataFrame, curves: Sequence[Floats]
) -> tuple[dict[tuple[str, str], list[Floats]], list[str]]:
    """Return the curves by participant and condition, and which rows have too few cycles."""
    cells: dict[tuple[str, str], list[Floats]] = {}
    left_out = []
    pairs = zip(table["participant"], table["condition"], strict=True)
    for (person, condition), each in zip(pairs, curves, strict=True):
        if each.shape[0] < FEWEST_CYCLES:
            left_out.append(f"{person} {condition} ({counted(each.shape[0], 'cycle')})")
        else:
            cells.setdefault((person, condition), []).append(each)
    return cells, left_out


def _sums(
    cycles: Cycles, people: Sequence[str], names: Sequence[str]
) -> tuple[Floats, Floats, Floats]:
    """Return n and the sums at lags 0 and 1, participants by conditions by trials."""
    most = max(len(trials) for trials in cycles.values())
    shape = (len(people), len(names), most)
    n, lag0, lag1 = np.full(shape, float(FEWEST_CYCLES)), np.zeros(shape), np.zeros(shape)
    for i, person in enumerate(people):
        for c, name in enumerate(names):
            for t, each in enumerate(cycles.get((person, name), ())):
                n[i, c, t] = each.shape[0]
                lag0[i, c, t], lag1[i, c, t] = lag_sums(each)
    return n, lag0, lag1


def spread_of_pair(cycles: Cycles, people: Sequence[str], pair: tuple[str, str]) -> ConditionSpread:
    """Return what the cycles of a pair of conditions say of their spread, trials averaged."""
    window = [
        min(each.shape[0] for name in pair for each in cycles[person, name]) for person in people
    ]
    found = np.array(
        [
            [
                np.mean(
                    [
                        (*window_spread(each, m), points_alike(each))
                        for each in cycles[person, name]
                    ],
                    axis=0,
                )
                for name in pair
            ]
            for person, m in zip(people, window, strict=True)
        ]
    )
    return ConditionSpread(
        np.array(window, dtype=np.float64),
        found[..., 0],
        found[..., 1],
        *_sums(cycles, people, pair),
        found[..., 2],
    )
