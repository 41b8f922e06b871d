"""Legs and sessions of one person are one person, in every pooled number of the results."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from twinangle.agreement import (
    compare_curves,
    compare_variability,
    cycle_variability,
    error_budget,
)
from twinangle.analysis.study import pool_study
from twinangle.cycles.summary import stride_summary
from twinangle.results import NeutralStanding, TrialResult, Variability
from twinangle.signals.recording import CycleSet
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

POINTS = np.linspace(0, 2 * np.pi, 101)
PEOPLE = 6
# An SD over cycles counted twice has the divisor 2n - 1 for n - 1, and the numbers that rest on it
# move by a per cent or so; a person counted twice takes an interval to 0.7 of its width, or below.
HARDLY = 0.98
ROUNDING = 1e-9
# Numbers of the study as a whole; trials are listed each by itself.
POOLED = (
    "limits_of_agreement", "conditions", "ranking", "budget", "equivalence", "along_cycle",
    "curves", "variability", "forms", "reliability", "conditions_adjusted",
)  # fmt: skip


def invented(rng, person: str, condition: str, procedure: str, bias: float) -> TrialResult:
    """Return a trial of invented curves. No person."""
    n = int(rng.integers(9, 16))
    reference = 30 - rng.normal(30, 1, (n, 1)) * np.cos(POINTS) + rng.normal(0, 1, (n, 1))
    wearable = reference + bias + rng.normal(0, 0.4, (n, 1)) + 0.5 * np.cos(2 * POINTS)
    start = np.cumsum(rng.normal(1.1, 0.02, n + 1))
    seen = condition == "indoor"
    cycles = CycleSet(
        start_s=start[:-1],
        end_s=start[1:],
        reason=("",) * n,
        wearable_deg=wearable,
        reference_deg=reference if seen else None,
        method="events",
        bout=np.zeros(n, dtype=np.int64),
    )
    blank = TrialResult(
        person, "1", condition, "1", "left", procedure, "ok",
        cycles=cycles,
        variability=Variability(cycle_variability(wearable)),
        strides=stride_summary(cycles),
        standing=NeutralStanding(0.0, float(rng.normal(0, 1))),
        covariates={"speed_m_s": float(rng.normal(1.3, 0.1))},
    )  # fmt: skip
    if not seen:
        return blank
    return replace(
        blank,
        agreement=compare_curves(wearable, reference),
        variability=Variability(
            cycle_variability(wearable),
            cycle_variability(reference),
            compare_variability(wearable, reference),
        ),
        budget=error_budget(wearable, reference),
    )


@pytest.fixture(scope="module")
def trials() -> list[TrialResult]:
    rng = np.random.default_rng(3)
    biases = rng.normal(1, 1, PEOPLE)
    return [
        invented(rng, f"P{k}", condition, procedure, biases[k] + (procedure == "b"))
        for k in range(PEOPLE)
        for condition in ("indoor", "outdoor")
        for procedure in ("a", "b")
    ]


@pytest.fixture(scope="module")
def pool(trials, tmp_path_factory) -> Callable[[str], dict[tuple[Any, ...], Any]]:
    """Every pooled number of the trials and their copies, by what these are; none where empty."""
    folder = tmp_path_factory.mktemp("people") / "study"
    write_demo_study(folder, participants=1, walk_s=12.0)
    text = (folder / "study.toml").read_text()
    text = text.replace("[reference]", "[reference]\naccuracy_deg = 0.3")
    text = text.replace("[agreement]", "[agreement]\nerror_ratio = 1.0")
    (folder / "study.toml").write_text(text)
    study = read_study(folder)

    @cache
    def counted(what: str) -> dict[tuple[Any, ...], Any]:
        some = copies(trials, what) if what else trials
        return pooled(pool_study(study, tuple(some)).to_json())

    return counted


def copies(trials: list[TrialResult], what: str) -> list[TrialResult]:
    """Return every trial twice: as the other leg, another session, or another person."""
    other = {
        "leg": lambda t: replace(t, side="right"),
        "session": lambda t: replace(t, session="2"),
        "trial": lambda t: replace(t, trial="2"),
        "person": lambda t: replace(t, participant=f"{t.participant}x"),
    }[what]
    return [*trials, *(other(trial) for trial in trials)]


def leaves(value: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Yield every number and pair of numbers with its place."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, (*place, key))
    elif isinstance(value, list) and not _is_pair(value):
        for k, item in enumerate(value):
            yield from leaves(item, (*place, k))
    else:
        yield place, value


def _is_pair(value: list[Any]) -> bool:
    return len(value) == 2 and all(isinstance(item, float) for item in value)


def pooled(record: dict[str, Any]) -> dict[tuple[Any, ...], Any]:
    kept = {name: record[name] for name in POOLED}
    # reliability over sessions or trials appears with the copies, which is not what is asked here
    between = "both instruments"
    kept["reliability"] = [r for r in kept["reliability"] if r.get("design") == between]
    # each person's own budget is over cycles, and has no interval where it is a mean over trials
    for item in kept["budget"]:
        del item["budgets"]
    return dict(leaves(kept))


def width(interval: list[float]) -> float:
    return interval[1] - interval[0]


def intervals(found: dict[tuple[Any, ...], Any]) -> dict[tuple[Any, ...], list[float]]:
    return {
        place: value
        for place, value in found.items()
        if isinstance(value, list)
        and any(str(part).endswith(("_ci", "_ci_deg", "_ci_deg2")) for part in place)
    }


@pytest.mark.parametrize("what", ["leg", "session", "trial"])
def test_a_copy_as_leg_session_or_trial_is_no_further_person(pool, what):
    once, twice = pool(""), pool(what)
    people = {p: v for p, v in once.items() if "n_participants" in p}
    assert len(people) > 40
    assert {p: twice[p] for p in people} == people
    assert set(people.values()) == {PEOPLE}
    found = intervals(once)
    assert len(found) > 100
    narrower = {
        place: (width(value), width(twice[place]))
        for place, value in found.items()
        if width(value) > ROUNDING
        and (twice[place] is None or width(twice[place]) < HARDLY * width(value))
    }
    assert not narrower, narrower


@pytest.mark.parametrize("what", ["leg", "session", "trial"])
def test_p_values_and_tests_do_not_gain_by_copies(pool, what):
    once, twice = pool(""), pool(what)
    names = ("p_value", "p_lower", "p_upper", "p_adjusted", "p_slope", "p_spread")
    tests = {p: v for p, v in once.items() if set(names) & set(p) and isinstance(v, float)}
    assert len(tests) > 10
    better = {p: (v, twice[p]) for p, v in tests.items() if twice[p] < 0.999 * v - 1e-12}
    assert not better, better


def test_the_same_copies_as_further_people_would_count(pool):
    """What the other tests would miss if nothing depended on who is who."""
    once, more = pool(""), pool("person")
    people = [p for p in once if "n_participants" in p]
    assert {more[p] for p in people} == {2 * PEOPLE}
    found = intervals(once)
    shrunk = [p for p in found if more.get(p) and width(more[p]) < 0.85 * width(found[p])]
    assert len(shrunk) > 0.8 * len(found)
