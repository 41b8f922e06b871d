"""Groups of trials, built once: what every topic over the trials of a study starts from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from twinangle.results.pooled import Absent, Pooled
from twinangle.results.trial_result import TrialResult
from twinangle.signals.recording import Array

# One number a cycle and instrument, the quantities that limits of agreement are given for.
QUANTITIES = ("mean_deg", "peak_flexion_deg", "range_deg")
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True, eq=False)
class Cycles:
    """One number a kept cycle by both instruments, and whose cycle it is; arrays of shape (n,).

    `unit` is what it is nested in: session, trial and side. `zero` is how the instruments differ in
    standing. The numbers are degrees.
    """

    participant: NDArray[np.object_]
    unit: NDArray[np.object_]
    session: NDArray[np.object_]
    side: NDArray[np.object_]
    wearable: Array
    reference: Array
    zero: Array

    @property
    def difference(self) -> Array:
        """Wearable minus reference."""
        return self.wearable - self.reference


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """The trials of one procedure and condition that have a reference.

    `cycles` are their kept cycles, by quantity.
    """

    procedure: str
    condition: str
    trials: tuple[TrialResult, ...]
    cycles: dict[str, Cycles]

    @property
    def people(self) -> list[str]:
        """Each participant once, in order of first appearance."""
        return unique(trial.participant for trial in self.trials)


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """The good trials of a study, and those with a reference by procedure and condition."""

    good: tuple[TrialResult, ...]
    compared: tuple[Group, ...]

    @property
    def procedures(self) -> list[str]:
        """The procedures of the good trials."""
        return unique(trial.procedure for trial in self.good)

    @property
    def conditions(self) -> list[str]:
        """The conditions of the good trials."""
        return unique(trial.condition for trial in self.good)


def group_trials(trials: Sequence[TrialResult]) -> Groups:
    """Return the groups of a study's trials.

    Parameters
    ----------
    trials : sequence of TrialResult
        All trials of the study; those that failed or are excluded are left out here.
    """
    good = tuple(t for t in trials if t.status == "ok")
    compared = [t for t in good if t.agreement is not None]
    found = []
    for procedure in unique(t.procedure for t in compared):
        for condition in unique(t.condition for t in compared):
            several = tuple(
                t for t in compared if (t.procedure, t.condition) == (procedure, condition)
            )
            if several:
                found.append(Group(procedure, condition, several, cycles_of(several)))
    return Groups(good, tuple(found))


def cycle_quantity(curves: Array, quantity: str) -> Array:
    """Return one number a cycle.

    Parameters
    ----------
    curves : ndarray, shape (n_cycles, n_points)
        Degrees.
    quantity : str
        "mean_deg", the mean over the cycle; "peak_flexion_deg", the largest flexion; or
        "range_deg", largest minus smallest.

    Returns
    -------
    ndarray, shape (n_cycles,)
        Degrees.

    Raises
    ------
    ValueError
        If `quantity` is none of the three.
    """
    if quantity == "mean_deg":
        return np.asarray(curves.mean(axis=1))
    if quantity == "peak_flexion_deg":
        return np.asarray(curves.max(axis=1))
    if quantity == "range_deg":
        return np.asarray(np.ptp(curves, axis=1))
    raise ValueError(f"`quantity` must be one of {', '.join(QUANTITIES)}, got {quantity!r}.")


def cycles_of(trials: Sequence[TrialResult]) -> dict[str, Cycles]:
    """Return the kept cycles of trials with a reference, by quantity."""
    kept = [_kept_curves(trial) for trial in trials]
    counts = [len(wearable) for wearable, _ in kept]

    def each_cycle(of_trial: Sequence[str]) -> NDArray[np.object_]:
        return np.repeat(np.asarray(of_trial, dtype=np.object_), counts)

    whose = (
        each_cycle([trial.participant for trial in trials]),
        each_cycle([" ".join((trial.session, trial.trial, trial.side)) for trial in trials]),
        each_cycle([trial.session for trial in trials]),
        each_cycle([trial.side for trial in trials]),
    )
    zero = np.repeat([zero_of(trial) for trial in trials], counts)
    found = {}
    for quantity in QUANTITIES:
        wearable, reference = (
            np.concatenate([cycle_quantity(both[k], quantity) for both in kept]) for k in (0, 1)
        )
        found[quantity] = Cycles(*whose, wearable, reference, zero)
    return found


def _kept_curves(trial: TrialResult) -> tuple[Array, Array]:
    """Return the wearable's and the reference's curves of the kept cycles."""
    cycles = trial.cycles
    if cycles is None or cycles.reference_deg is None:
        raise ValueError(f"{trial.label}: no reference curves to pool.")
    return cycles.wearable_deg[cycles.kept], cycles.reference_deg[cycles.kept]


def zero_of(trial: TrialResult) -> float:
    """Return how the instruments differ in neutral standing, degrees; NaN if not known."""
    return trial.standing.difference_deg if trial.standing is not None else float("nan")


def both_curves(trials: Sequence[TrialResult]) -> tuple[list[str], Array, Array]:
    """Return whose each kept cycle is, and the two instruments' curves."""
    sets = [
        (trial.participant, trial.cycles, trial.cycles.reference_deg)
        for trial in trials
        if trial.cycles is not None
    ]
    kept = [
        (person, cycles.wearable_deg[cycles.kept], reference[cycles.kept])
        for person, cycles, reference in sets
        if reference is not None
    ]
    people = [person for person, wearable, _ in kept for _ in wearable]
    return people, np.concatenate([w for _, w, _ in kept]), np.concatenate([r for *_, r in kept])


def unique(names: Iterable[str]) -> list[str]:
    """Return each name once, in order of first appearance."""
    return list(dict.fromkeys(names))


def attempt(compute: Callable[[], Found], reason: str = "") -> Found | Absent:
    """Return what is computed, or why it is not: the reason given, else what the data lack."""
    if reason:
        return Absent(reason)
    try:
        return compute()
    except ValueError as error:
        return Absent(str(error))


def pooled(
    group: Group, quantity: str, compute: Callable[[], Found], reason: str = ""
) -> Pooled[Found]:
    """Return what is computed of a group under its names, or why it is not."""
    value = attempt(compute, reason)
    return Pooled(group.procedure, group.condition, quantity, value)
