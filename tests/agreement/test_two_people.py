"""Two people have no interval over people, and no size has an interval below 0 or beside itself."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from twinangle.agreement import (
    compare_curves,
    cycle_variability,
    error_budget,
    limits_of_agreement,
    pool_budgets,
    pool_curves,
    pool_variability,
)
from twinangle.agreement.conditions import compare_conditions
from twinangle.agreement.mixed import mixed_model_limits
from twinangle.agreement.ranking import rank_procedures

PHASE = np.linspace(0, 2 * np.pi, 21)[:-1]


def cycles(
    rng: np.random.Generator, people: int, n: int = 6, serial: float = 0.0
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return curves of both instruments of each person; what they differ by differs much."""
    found = []
    for _ in range(people):
        reference = 30 * np.sin(PHASE) + rng.normal(0, 1, (n, 1)) + rng.normal(0, 0.3, (n, 20))
        noise = rng.normal(0, 1, (n, 20)) * np.exp(rng.normal(0, 1))
        for row in range(1, n):
            noise[row] = serial * noise[row - 1] + noise[row]
        found.append((reference + rng.normal(0, 3) + noise, reference))
    return found


def no_interval(bounds: tuple[float, float]) -> bool:
    """Say whether there is none."""
    return all(map(math.isnan, bounds))


def test_two_people_have_no_interval_over_people_in_any_topic() -> None:
    """Student's t of one degree of freedom made an RMS of 0.4° one of 0 to 88°."""
    data = cycles(np.random.default_rng(1), 2)
    people = ["P01", "P02"]
    curves = pool_curves([compare_curves(*pair) for pair in data], people)
    spread = pool_variability(
        [cycle_variability(test) for test, _ in data],
        [cycle_variability(reference) for _, reference in data],
        people,
    )
    difference = np.concatenate([(test - reference).mean(axis=1) for test, reference in data])
    owner = np.repeat(people, 6)
    limits = limits_of_agreement(difference, owner)
    pairs = limits_of_agreement(difference[[0, 6]], people)
    mixed = mixed_model_limits(difference, owner)
    frame = pd.DataFrame(
        [(person, condition) for condition in ("indoor", "outdoor") for person in people],
        columns=["participant", "condition"],
    )
    both = compare_conditions(
        frame, against="indoor", variability=[pair[k] for k in (1, 0) for pair in data]
    )[0]
    plain = compare_conditions(frame.assign(value=[1.0, 2.0, 2.0, 5.0]), against="indoor")[0]
    pooled = pool_budgets([error_budget(*pair) for pair in data])
    for found in (curves, spread, limits, pairs, mixed, both, plain, pooled):
        for name in found.to_frame().filter(like="_ci_"):
            assert math.isnan(found.to_frame()[name].iloc[0]), (type(found).__name__, name)
    values = pd.DataFrame(
        [(person, "1", name, value) for person in people for name, value in (("a", 1), ("b", 2))],
        columns=["participant", "trial", "procedure", "value"],
    )
    pair = rank_procedures(values).differences[0]
    assert no_interval((pair.lower, pair.upper))
    for found in (curves, spread, limits, pairs):
        assert any("no interval over people" in note for note in found.notes)
    assert "no interval over people" in both.note
    assert "no interval over people" in plain.note


def test_both_values_stand_in_the_place_of_the_interval() -> None:
    """They are the people's own: here by hand, RMS of a constant pattern of known size."""
    reference = np.tile(30 * np.sin(PHASE), (3, 1))
    pattern = np.sqrt(2) * np.sin(3 * PHASE)
    found = pool_curves(
        [
            compare_curves(reference + 2 + 1.0 * pattern, reference),
            compare_curves(reference - 1 + 0.5 * pattern, reference),
        ],
        ["P01", "P02"],
    )
    note = next(note for note in found.notes if "no interval over people" in note)
    assert "offset 2.00 and −1.00" in note
    assert "RMS of the demeaned curves 1.00 and 0.50" in note


def test_three_people_have_an_interval() -> None:
    """The rule takes away no more than two people's."""
    data = cycles(np.random.default_rng(2), 3)
    found = pool_curves([compare_curves(*pair) for pair in data], ["a", "b", "c"])
    assert np.isfinite(found.offset_ci).all()
    assert np.isfinite(found.rms_demeaned_ci).all()


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), people=st.integers(3, 7), n=st.integers(3, 9))
def test_an_interval_of_a_size_is_not_negative_and_holds_its_estimate(
    seed: int, people: int, n: int
) -> None:
    """Over people and over the cycles of a recording: SD and RMS are never below 0."""
    data = cycles(np.random.default_rng(seed), people, n, serial=0.6)
    own = [compare_curves(*pair) for pair in data]
    sds = [[cycle_variability(pair[k]) for pair in data] for k in (0, 1)]
    curves = pool_curves(own, range(people))
    spread = pool_variability(*sds, range(people))
    sizes = [(one.rms_demeaned, one.rms_demeaned_ci) for one in [*own, curves]]
    sizes += [(one.rmse, one.rmse_ci) for one in own]
    sizes += [(one.sd, one.sd_ci) for one in sds[0] + sds[1]]
    sizes += [
        (spread.test_sd, spread.test_sd_ci),
        (spread.reference_sd, spread.reference_sd_ci),
        (spread.ratio, spread.ratio_ci),
    ]
    if spread.added_sd >= 0:
        sizes.append((spread.added_sd, spread.added_sd_ci))
    for value, (low, high) in sizes:
        assert value >= 0
        assert not low < 0
        assert not low > value
        assert not high < value


@pytest.mark.parametrize("seed", range(3))
def test_an_interval_over_cycles_holds_its_own_estimate(seed: int) -> None:
    """Every number of a recording whose curves differ by noise alone, which pulled the RMS off."""
    rng = np.random.default_rng(seed)
    reference = np.tile(30 * np.sin(PHASE), (5, 1))
    found = compare_curves(reference + rng.normal(0, 1, (5, 20)), reference)
    for name in ("offset", "rms_demeaned", "rmse", "range_difference", "correlation", "r_squared"):
        low, high = getattr(found, f"{name}_ci")
        assert low <= getattr(found, name) <= high, name
