"""The result without what people chose beside the result with it, so that nobody chooses a wish."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from twinangle.analysis import conditions, curves, limits, variability
from twinangle.analysis.groups import Groups, group_trials
from twinangle.analysis.short_recordings import pool_short
from twinangle.options import Options
from twinangle.results import TrialResult
from twinangle.results.decided import WithoutDecisions
from twinangle.results.pooled import Pooled, given

Name = tuple[str, str, str, str]  # procedure, condition, quantity, unit
_LIMITS = ("bias", "lower", "upper")
_CURVES = ("offset", "rms_demeaned")


def without_decisions(
    trials: Sequence[TrialResult], options: Options
) -> tuple[WithoutDecisions, ...]:
    """Return the main numbers with and without decisions on cycles and recordings.

    Parameters
    ----------
    trials : sequence of TrialResult
        All trials of the study; `undecided` holds what one would be without such decisions, None
        where there is none on it.
    options : Options
        What the run was asked for.

    Returns
    -------
    tuple of WithoutDecisions
        Offset, RMS of the demeaned curves, SD over cycles and limits of agreement of each procedure
        and condition that a decision touches, and the ratio of SDs of conditions where it touches
        either; empty where no such decision counts. A lag or an interval that was decided is in
        both: it does not choose.
    """
    touched = [trial for trial in trials if trial.undecided is not None]
    if not touched:
        return ()
    bare = [trial.undecided or trial for trial in trials]
    return compared(bare, trials, options, touched)


def compared(
    bare: Sequence[TrialResult],
    trials: Sequence[TrialResult],
    options: Options,
    touched: Sequence[TrialResult],
) -> tuple[WithoutDecisions, ...]:
    """Return the main numbers of trials beside those of the same trials judged otherwise.

    Parameters
    ----------
    bare, trials : sequence of TrialResult
        Before and after.
    options : Options
        What the run was asked for.
    touched : sequence of TrialResult
        Only what these are part of is computed.
    """
    about = {(trial.procedure, trial.condition) for trial in touched}
    seen = [_Main(several, options, about) for several in (bare, trials)]
    before, after = seen
    names = dict.fromkeys([*after.numbers, *before.numbers])
    return tuple(
        WithoutDecisions(
            *name,
            value=after.numbers.get(name),
            without=before.numbers.get(name),
            n_cycles=after.cycles.get(name[:2], 0),
            n_cycles_without=before.cycles.get(name[:2], 0),
            n_recordings=after.recordings.get(name[:2], 0),
            n_recordings_without=before.recordings.get(name[:2], 0),
        )
        for name in names
    )


class _Main:
    """The main numbers of trials, by name, and what they are of."""

    def __init__(
        self, trials: Sequence[TrialResult], options: Options, about: set[tuple[str, str]]
    ) -> None:
        procedures = {procedure for procedure, _ in about}
        _, _, standing_in = pool_short(trials, options)
        groups = group_trials([t for t in standing_in if t.procedure in procedures])
        own = replace(
            groups,
            compared=tuple(g for g in groups.compared if (g.procedure, g.condition) in about),
        )
        self.numbers = {
            name: value for name, value in _numbers(groups, own, options) if math.isfinite(value)
        }
        self.cycles: dict[tuple[str, str], int] = {}
        self.recordings: dict[tuple[str, str], int] = {}
        for trial in trials:
            if trial.status in ("ok", "pooled") and trial.cycles is not None:
                key = (trial.procedure, trial.condition)
                self.cycles[key] = self.cycles.get(key, 0) + int(trial.cycles.kept.sum())
                self.recordings[key] = self.recordings.get(key, 0) + 1


def _numbers(groups: Groups, own: Groups, options: Options) -> Iterator[tuple[Name, float]]:
    """Yield the main numbers under their names."""
    for curve, found in given(curves.pool(own, options)):
        for name in _CURVES:
            yield _name(curve, f"{name}_deg"), float(getattr(found, name))
    for spread, sds in given(variability.pool(own, options)):
        yield _name(spread, "wearable_sd_deg"), sds.test_sd
        yield _name(spread, "reference_sd_deg"), sds.reference_sd
    for limit, one in given(limits.pool(own, options)):
        for name in _LIMITS:
            yield _name(limit, f"{name}_deg of {limit.quantity}"), float(getattr(one.limits, name))
    for other, ratio in given(conditions.pool(groups, options)):
        name = f"ratio of {other.quantity} to {ratio.against}"
        yield (other.procedure, other.condition, name, "1"), ratio.ratio


def _name(of: Pooled[Any], quantity: str) -> Name:
    return of.procedure, of.condition, quantity, "deg"
