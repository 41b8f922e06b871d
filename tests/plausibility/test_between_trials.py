"""Sensors put on anew between trials that share one standing, and numbers that are absurd."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from twinangle.agreement.curves import compare_curves
from twinangle.agreement.variability import cycle_variability
from twinangle.analysis.large_numbers import large_numbers
from twinangle.analysis.remounts import compare_mountings
from twinangle.plausibility.mounting import Mounting
from twinangle.results import TrialResult
from twinangle.signals.recording import Interval

UP, AXIS = np.array([0.1, 0.2, 0.97]), np.array([0.0, 0.98, -0.2])


def sits(turn_deg):
    """Return how both sensors sit, the distal one turned."""
    turn = Rotation.from_rotvec(np.radians(turn_deg) * np.array([0.48, 0.6, 0.64]))
    up, axis = UP / np.linalg.norm(UP), AXIS / np.linalg.norm(AXIS)
    return (
        Mounting("proximal sensor", up, axis),
        Mounting("distal sensor", turn.apply(up), -turn.apply(axis)),  # an axis has no direction
    )


def compared(standing, turn_deg, session="1"):
    trials, results = [], []
    for condition, turned, part in (
        ("indoor", 0.0, standing[0]),
        ("outdoor", turn_deg, standing[1]),
    ):
        identity = ("P01", session, condition, "", "left")
        trials.append(
            SimpleNamespace(
                identity=identity, participant="P01", session=session, side="left",
                static=part, functional=None,
            )
        )  # fmt: skip
        results.append(TrialResult(*identity, "kalman", "ok", mounting=sits(turned)))
    part = SimpleNamespace(wearable="")
    study = SimpleNamespace(trials=trials, rows_of=lambda trial: ((part, trial),))
    return compare_mountings(study, results)[1]


def test_a_sensor_put_on_anew_is_named_where_standing_is_shared():
    found = compared((Path("standing.csv"), Path("standing.csv")), 30.0)
    proximal, distal = found.plausibility
    assert (proximal.verdict, distal.verdict) == ("consistent", "doubtful")
    assert distal.value == pytest.approx(30.0, abs=0.1)
    (warning,) = found.warnings
    assert warning.startswith("distal sensor: in walking it sits 30.0° otherwise")
    assert "P01 indoor" in warning


def test_what_another_standing_covers_is_no_fault():
    same = Path("standing.csv")
    assert compared((same, same), 5.0).warnings == ()
    assert compared((same, Path("anew.csv")), 30.0).plausibility == ()
    assert compared((Interval(0.0, 5.0), Interval(0.0, 5.0)), 30.0).plausibility == ()


def curves(amplitude, offset, scatter, seed=0):
    rng = np.random.default_rng(seed)
    wave = amplitude * np.sin(2 * np.pi * np.linspace(0, 1, 101))
    return wave + offset + scatter * rng.standard_normal((12, 1))


@pytest.mark.parametrize(
    ("test", "words"),
    [
        (curves(30, 1, 1, seed=1), ()),
        (curves(30, 30, 1), ("offset is", "neutral standing")),
        (curves(60, 0, 1), ("offset taken off", "gain")),
        (curves(-30, 0, 1), ("offset taken off", "axes or signs")),
        (curves(30, 0, 109.0), ("wearable's cycles scatter", "not one movement")),
    ],
)
def test_an_absurd_number_is_never_without_a_word(test, words):
    reference = curves(30, 0, 1)
    found = large_numbers(
        compare_curves(test, reference, confidence=0.95),
        {"wearable": cycle_variability(test, confidence=0.95)},
    )
    assert bool(found) == bool(words)
    for word in words:
        assert word in " ".join(found)
