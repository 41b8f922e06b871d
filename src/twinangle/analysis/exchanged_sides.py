"""Left and right of one walk held against each other, where strides do not vary together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from twinangle.analysis.refused import refused
from twinangle.analysis.strides_together import (
    KIND,
    LEAST,
    correlated,
    correlation_of_changes,
)
from twinangle.notices import kind_of
from twinangle.results import TrialResult
from twinangle.signals.recording import Array, CycleSet
from twinangle.thresholds import told_apart

BELONG = 0.8
"""Correlation of the changes of peaks from which a reference belongs to a wearable: of 20 pairs of
neighbours without anything in common, at 1000 lags, the largest is about as much."""
FEWEST = 20  # pairs of neighbours
_STEP_S = 0.1  # between the lags tried of one side's clock on the other's
_NEAR = 0.3  # of a stride, within which two cycles are the same one


def refuse_exchanged_sides(trials: Sequence[TrialResult]) -> tuple[TrialResult, ...]:
    """Return the results, those of which left and right were surely exchanged failed.

    Of a person's two sides in one trial, under one procedure: where the strides of neither
    wearable vary with its own reference's (r below 0.5, :func:`correlation_of_changes`), and the
    peaks of each vary with those of the other side's reference (0.8 and more over half of the
    neighbours, at any lag between the two sides' clocks), the wearables or the references changed
    places. Peaks, since a reference laid half a stride off is cut a little before or behind where
    its own strides begin. Own rule.

    Parameters
    ----------
    trials : sequence of TrialResult
        All trials of the study.
    """
    found = list(trials)
    by_walk: dict[object, list[int]] = {}
    for k, one in enumerate(trials):
        if any(kind_of(text) == KIND for text in one.warnings) and one.status == "ok":
            walk = (one.participant, one.session, one.condition, one.trial, one.procedure)
            by_walk.setdefault(walk, []).append(k)
    for places in by_walk.values():
        if len(places) == 2:
            first, second = (trials[k] for k in places)
            both = _crosswise(first.cycles, second.cycles)
            if min(both) >= BELONG:
                found[places[0]] = _failed(first, second, both[0])
                found[places[1]] = _failed(second, first, both[1])
    return tuple(found)


def _crosswise(first: CycleSet | None, second: CycleSet | None) -> tuple[float, float]:
    """Return how either wearable's strides vary with the other side's reference's."""
    assert first is not None
    assert second is not None
    return at_any_lag(first, second), at_any_lag(second, first)


def at_any_lag(wearable: CycleSet, reference: CycleSet) -> float:
    """Return how the peaks of one set's wearable vary at most with those of another's reference.

    Parameters
    ----------
    wearable, reference : CycleSet
        Each on a clock of its own.

    Returns
    -------
    float
        The largest correlation of their changes over the lags at which half of the neighbours of
        the shorter, and 20, have their partner; -1 where there is none.
    """
    assert reference.reference_deg is not None
    one, begins = wearable.wearable_deg.max(axis=1), wearable.start_s
    other, its_begins = reference.reference_deg.max(axis=1), reference.start_s
    known, its_known = wearable.kept & np.isfinite(one), reference.kept & np.isfinite(other)
    fewest = max(FEWEST, min(_neighbours(known).sum(), _neighbours(its_known).sum()) // 2)
    near = _NEAR * float(np.median(wearable.duration_s))
    best = -1.0
    for lag in np.arange(begins[0] - its_begins[-1], begins[-1] - its_begins[0], _STEP_S):
        partner = _partners(begins, its_begins + lag, near)
        pairs = known & (partner >= 0) & its_known[partner]
        # neighbours on both sides
        follow = np.flatnonzero(_neighbours(pairs) & (np.diff(partner) == 1))
        if follow.size < fewest:
            continue
        u = one[follow + 1] - one[follow]
        v = other[partner[follow] + 1] - other[partner[follow]]
        best = max(best, correlated(u - u.mean(), v - v.mean()))
    return best


def _neighbours(known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return known[1:] & known[:-1]


def _partners(begins: Array, others: Array, near_s: float) -> NDArray[np.int64]:
    """Return for each beginning the number of the other that is nearest; -1 if none is near."""
    after = np.clip(np.searchsorted(others, begins), 1, max(others.size - 1, 1))
    closer = np.abs(others[after - 1] - begins) < np.abs(others[after % others.size] - begins)
    found = np.where(closer, after - 1, after % others.size)
    return np.where(np.abs(others[found] - begins) < near_s, found, -1)


def _failed(result: TrialResult, other: TrialResult, crosswise: float) -> TrialResult:
    assert result.cycles is not None
    own, _ = correlation_of_changes(result.cycles)
    shown, limit = told_apart(own, LEAST, 2)
    reason = (
        "left and right were exchanged: what changes from stride to stride correlates with this "
        f"row's own reference at {shown} only (below {limit}), and its peaks with those of "
        f"{other.label} at {crosswise:.2f}, and the other way round. Exchange the wearable's files "
        "of the two rows in the trials table, or the reference's, whichever were named wrongly "
        "(the session's notes tell); a mend of a clock made before that is to be undone."
    )
    told = tuple(text for text in result.warnings if kind_of(text) != KIND)
    return replace(refused(result, reason), warnings=told)
