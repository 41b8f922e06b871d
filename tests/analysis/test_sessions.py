"""Several sessions a person: what enters test and retest, and that a known error is found again."""

import json

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from tests.analysis.conftest import knee

from twinangle import AngleTrial, Study, run_study
from twinangle.agreement import measurement_error
from twinangle.analysis.reliability import _complete
from twinangle.results import named
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

PLACEMENT_DEG = 4.0


def walks(offsets, seed=1):
    """One recording a person and session; the wearable reads the offset more than the truth."""
    rng = np.random.default_rng(seed)
    time = np.arange(0, 30, 0.02)
    trials = []
    for person, own in offsets.items():
        height = rng.normal(1, 0.05)
        for session, offset in own.items():
            true = height * knee(time / 1.1) + rng.normal(0, 0.2, time.size)
            trials.append(AngleTrial(person, time, true + offset, true, session=session))
    return run_study(Study.from_angles(trials))


def test_the_error_put_in_is_found_again():
    rng = np.random.default_rng(4)
    drawn = rng.normal(0, PLACEMENT_DEG, (5, 3))
    people = [f"P{k}" for k in range(5)]
    results = walks(
        {who: dict(zip("123", own, strict=True)) for who, own in zip(people, drawn, strict=True)}
    )
    expected = measurement_error(drawn)
    found = {
        (key[2], each.instrument): each
        for key, each in named(results.reliability)
        if each.design == "sessions"
    }
    for quantity in ("mean_deg", "peak_flexion_deg"):
        error = found[quantity, "wearable"].error
        assert_allclose(error.sem, expected.sem, atol=0.1)
        assert_allclose(error.sem_agreement, expected.sem_agreement, atol=0.1)
        assert found[quantity, "reference"].error.sem < 0.1
    assert found["range_deg", "wearable"].error.sem < 0.1  # an offset is no range
    assert "up to 3 sessions each" in results.limits[0].value.note


@pytest.mark.parametrize(
    "offsets",
    [
        {"P1": {"1": 0.0}, "P2": {"1": 1.0}, "P3": {"1": 2.0}, "P4": {"1": 3.0}},
        {"P1": {"1": 0.0, "2": 1.0}, "P2": {"1": 1.0, "2": 0.0}},
    ],
)
def test_one_session_or_two_people_give_none_and_say_why(offsets):
    results = walks(offsets)
    assert not [each for _, each in named(results.reliability) if each.design == "sessions"]
    reasons = [one.value.reason for one in results.reliability if hasattr(one.value, "reason")]
    assert any("3 participants recorded in the same two or more sessions" in r for r in reasons)


def test_the_part_that_tells_most_is_taken_not_what_everybody_has():
    # One person's third session left one complete row of three, and no reliability at all.
    nan = np.nan
    table = pd.DataFrame(
        [[1.0, 2.0, nan], [2.0, 3.0, nan], [4.0, 3.0, 5.0], [1.0, 1.0, nan], [nan, 2.0, nan]],
        index=list("abcde"), columns=["1", "2", "3"],
    )  # fmt: skip
    kept = _complete(table)
    assert list(kept.index) == ["a", "b", "c", "d"]
    assert list(kept.columns) == ["1", "2"]
    assert _complete(table[["1"]]).shape[1] < 2


def test_a_simulated_placement_is_found_again_from_raw_signals(tmp_path):
    path = write_demo_study(
        tmp_path / "days", participants=3, sessions=2, conditions=("outdoor",), walk_s=14.0,
        placement_sd_deg=PLACEMENT_DEG, seed=11,
    )  # fmt: skip
    results = run_study(read_study(path).with_(procedures=["vqf"]))
    found = next(
        each
        for key, each in named(results.reliability)
        if each.design == "sessions" and key[2] == "mean_deg"
    )

    def stood(who, session):
        text = (path.parent / f"truth/{who}_s{session}_outdoor.json").read_text()
        return json.loads(text)["standing_deg"]

    bent = np.array([[stood(who, k) for k in found.columns] for who in found.people])
    assert np.ptp(bent, axis=1).max() > 2
    # Who stands bent by x has x for zero, so that the walk reads x less; strides differ besides.
    own = np.array(found.scores)
    assert_allclose(
        own - own.mean(axis=1, keepdims=True), bent.mean(axis=1, keepdims=True) - bent, atol=0.7
    )
    assert_allclose(found.error.sem, measurement_error(bent).sem, atol=0.7)


def test_a_first_session_without_placement_is_the_study_of_one_session(tmp_path):
    one, two = (
        write_demo_study(
            tmp_path / str(n), participants=1, sessions=n, conditions=("outdoor",), walk_s=10.0
        ).parent
        for n in (1, 2)
    )
    first = (one / "wearable/P01_outdoor.csv").read_bytes()
    assert first == (two / "wearable/P01_s1_outdoor.csv").read_bytes()
    assert first != (two / "wearable/P01_s2_outdoor.csv").read_bytes()
    with pytest.raises(ValueError, match="placement_sd_deg"):
        write_demo_study(tmp_path / "no", placement_sd_deg=-1.0)
