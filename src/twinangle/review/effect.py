"""Before and after: the numbers without decisions, with those that stand, and with one more."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from twinangle.analysis.effect_of_decision import effect_of
from twinangle.analysis.instruments import analyse_pair
from twinangle.analysis.opened import Opened, open_trial
from twinangle.analysis.without_decisions import compared
from twinangle.errors import TwinangleError
from twinangle.results import TrialResult
from twinangle.results.decided import WithoutDecisions
from twinangle.review.looked_at import Unit, rests_on
from twinangle.study import Decision, Study, settings_of
from twinangle.study.decided import ACTING
from twinangle.study.decision_scope import HashOf

Results = tuple[TrialResult, ...]
Name = tuple[str, str, str]  # procedure, condition, quantity


class Effects:
    """What decisions do to the numbers; the recording that was asked for last is kept open.

    Parameters
    ----------
    bare : Study
        As its files have it, without decisions.
    units : sequence of Unit
        What is looked at, by its number.
    hash_of : callable
        As of :func:`twinangle.study.apply_decisions`.
    """

    def __init__(self, bare: Study, units: Sequence[Unit], hash_of: HashOf) -> None:
        self._bare = bare
        self._units = units
        self._hash_of = hash_of
        self._opened: tuple[int, Opened] | None = None
        self._automatic: dict[int, Results] = {}
        self._lock = threading.Lock()

    def told(
        self,
        number: int,
        study: Study,
        every: Mapping[int, Results],
        decisions: tuple[Decision, ...],
        candidate: Decision | None,
    ) -> dict[str, Any]:
        """Return the numbers of a recording and of its condition, side by side.

        Parameters
        ----------
        number : int
            The recording, under its pair of instruments.
        study : Study
            With the decisions that stand.
        every : mapping of int to tuple of TrialResult
            What is analysed so far under them, of that pair.
        decisions : tuple of Decision
            Those made so far, in order.
        candidate : Decision or None
            One more, that is thought of.

        Returns
        -------
        dict
            `own`: the recording's numbers; `pooled`: a row for each of its condition, under the
            first procedure. Both have `automatic`, `now`, and `with` where there is a candidate.
            `seconds`: how long it took.
        """
        begin = time.perf_counter()
        with self._lock:  # one at a time: each opens a recording
            acting = [each for each in decisions if each.kind in ACTING]
            decided = {k for k in every if any(rests_on(self._units, k, one) for one in acting)}
            bare = {k: self._without(k) if k in decided else every[k] for k in every}
            own = {"automatic": bare[number], "now": every[number]}
            touched = [*bare[number], *every[number]]
            pooled = _by_name(compared(_flat(bare), _flat(every), study.options, touched), "now")
            if candidate is not None:
                effect = effect_of(
                    self._bare, decisions, _flat(every), candidate,
                    opened=self._open(study, number), hash_of=self._hash_of,
                    pair=self._units[number].pair,
                )  # fmt: skip
                own["with"] = effect.after
                for name, row in _by_name(effect.pooled, "with").items():
                    row["now"] = row.pop("automatic")
                    pooled.setdefault(name, {}).update(row)
        return {
            "own": {name: numbers_of(results) for name, results in own.items()},
            "pooled": _rows(pooled, every[number][0]),
            "seconds": round(time.perf_counter() - begin, 3),
        }

    def forget(self, number: int) -> None:
        """Drop what is kept of a recording whose files have changed."""
        with self._lock:
            self._automatic.pop(number, None)
            if self._opened and self._opened[0] == number:
                self._opened = None

    def _without(self, number: int) -> Results:
        """Return a recording's results without any decision of a person."""
        if number not in self._automatic:
            unit = self._units[number]
            rows = self._bare.rows_of(self._bare.trials[unit.at])
            found = analyse_pair(rows, unit.pair, opened=self._open(self._bare, number))
            self._automatic[number] = light(found)
        return self._automatic[number]

    def _open(self, study: Study, number: int) -> Opened | None:
        """Return the recording as it stands, read once; None where it cannot be read."""
        part, trial = self._units[number].seen_in(study)
        trial = replace(trial, exclude="")
        own = settings_of(part.study, trial)
        if self._opened and self._opened[0] == number and self._opened[1].fits(own, trial):
            return self._opened[1]
        self._opened = None  # let go of the other first
        with suppress(TwinangleError, OSError):  # the analysis tells why
            self._opened = (number, open_trial(own, trial))
        return self._opened[1] if self._opened else None


def light(results: Results) -> Results:
    """Return results without their traces, which pooling does not need."""
    return tuple(replace(one, paired=None) for one in results)


def numbers_of(results: Sequence[TrialResult]) -> dict[str, Any]:
    """Return a recording's own numbers under its first procedure, None where there is none."""
    trial = results[0]
    agreement, spread = trial.agreement, trial.variability
    reference = None if spread is None else spread.reference
    return {
        "status": trial.status,
        "reason": trial.reason,
        "kept": None if trial.cycles is None else int(trial.cycles.kept.sum()),
        "found": None if trial.cycles is None else len(trial.cycles.reason),
        "offset_deg": None if agreement is None else agreement.offset,
        "rms_demeaned_deg": None if agreement is None else agreement.rms_demeaned,
        "wearable_sd_deg": None if spread is None else spread.wearable.sd,
        "reference_sd_deg": None if reference is None else reference.sd,
    }


def _flat(every: Mapping[int, Results]) -> list[TrialResult]:
    return [one for k in sorted(every) for one in every[k]]


def _by_name(found: Sequence[WithoutDecisions], after: str) -> dict[Name, dict[str, Any]]:
    """Return both numbers of each by procedure, condition and quantity, those of cycles too."""
    rows: dict[Name, dict[str, Any]] = {}
    for one in found:
        place = (one.procedure, one.condition)
        rows[(*place, "cycles")] = {"automatic": one.n_cycles_without, after: one.n_cycles}
        rows[(*place, one.quantity)] = {"automatic": one.without, after: one.value}
    return rows


def _rows(pooled: Mapping[Name, Mapping[str, Any]], like: TrialResult) -> list[dict[str, Any]]:
    return [
        {"quantity": quantity, **values}
        for (procedure, condition, quantity), values in pooled.items()
        if (procedure, condition) == (like.procedure, like.condition)
    ]
