"""Where a movement does not determine the hinge axis of two gyroscopes, and what is said then.

Seel, Schauer & Raisch (2012) fit ``‖ω₁ × j₁‖ = ‖ω₂ × j₂‖``: with ω₁ = c ω₂ along one axis, axes
tilted by α and β with |c| sin α = sin β fulfil it exactly.
"""

import numpy as np
import pytest

from twinangle.errors import AngleError
from twinangle.notices import gravity_of, kind_of
from twinangle.signals.recording import OrientationPair, OrientationRecording
from twinangle.wearable.calibration import (
    LEAST_HINGE,
    SURE_HINGE,
    _hinge_uncertain,
    calibrate,
)
from twinangle.wearable.heading.hinge import HingeAxes, hinge_axes
from twinangle.wearable.heading.hinge_certainty import certainty
from twinangle.wearable.procedure_input import OrientedTrial

RATE_HZ, AXIS = 100.0, np.array([0.0, 1.0, 0.0])
TIME_S = np.arange(1000) / RATE_HZ
BEND_DEG = 29.0 * (1.0 - np.cos(np.pi * TIME_S))  # five bends to 58°
NOISE_RAD_S = 0.002


def bends(thigh_deg, seed=1):
    """Return both segments' rates, rad/s: planar, the thigh by thigh_deg, the knee by BEND_DEG."""
    rng = np.random.default_rng(seed)
    rates = (np.gradient(np.radians(turn), TIME_S) for turn in (thigh_deg, thigh_deg - BEND_DEG))
    return [rate[:, None] * AXIS + NOISE_RAD_S * rng.normal(size=(1000, 3)) for rate in rates]


def oriented(thigh_deg, seed=1):
    """Return the trial of such bends after standing: the integrated rates."""
    still = np.tile([1.0, 0.0, 0.0, 0.0], (200, 1))
    both = []
    for rate in bends(thigh_deg, seed):
        angle = np.cumsum(rate[:, 1]) / RATE_HZ
        wobble = 0.5 * NOISE_RAD_S / RATE_HZ * np.cumsum(rate[:, [0, 2]] / NOISE_RAD_S, axis=0)
        turned = np.stack([np.cos(angle / 2), wobble[:, 0], np.sin(angle / 2), wobble[:, 1]], 1)
        turned /= np.linalg.norm(turned, axis=1, keepdims=True)
        both.append([OrientationRecording(q, 0.0, RATE_HZ, "made") for q in (still, turned)])
    standing, moving = (OrientationPair(*pair) for pair in zip(*both, strict=True))
    return OrientedTrial(moving, standing, moving)


PROPORTIONAL, THIGH_HELD = BEND_DEG * 24.0 / 58.0, 2.0 * np.sin(2.3 * TIME_S)


def test_tilted_axes_fit_proportional_turning_exactly():
    thigh = bends(PROPORTIONAL)[0] @ AXIS
    clean = thigh[:, None] * AXIS, thigh[:, None] * AXIS * -34.0 / 24.0
    beta = np.radians(10.0)
    alpha = np.arcsin(np.sin(beta) * 34.0 / 24.0)
    tilted = [np.array([0.0, np.cos(turn), np.sin(turn)]) for turn in (alpha, beta)]
    lengths = [
        np.linalg.norm(np.cross(rate, axis), axis=1)
        for rate, axis in zip(clean, tilted, strict=True)
    ]
    np.testing.assert_allclose(*lengths, atol=1e-12)
    assert certainty(*clean, HingeAxes(AXIS, AXIS, 0.0)) == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_a_planar_proportional_movement_determines_no_axis(seed):
    rates = bends(PROPORTIONAL, seed)
    assert certainty(*rates, hinge_axes(*rates)) < SURE_HINGE


@pytest.mark.parametrize("seed", range(3))
def test_bends_with_the_thigh_held_determine_it(seed):
    rates = bends(THIGH_HELD, seed)
    axes = hinge_axes(*rates)
    assert certainty(*rates, axes) > 10.0 * SURE_HINGE
    assert abs(axes.distal @ AXIS) > np.cos(np.radians(1.0))


@pytest.mark.parametrize(
    ("seed", "refused"), [(1, True), (2, False)]
)  # chance decides which of the axes that fit alike is found
def test_squats_are_refused_or_gravely_warned_of(seed, refused):
    trial = oriented(PROPORTIONAL, seed)
    assert calibrate(trial, "mean-rate").warnings == ()
    if refused:
        with pytest.raises(AngleError, match=r"not determined.*at least 1\.1 : 1.*mean-rate"):
            calibrate(trial, "hinge")
        return
    told = calibrate(trial, "hinge").warnings[0]
    assert (kind_of(told), gravity_of(told)) == ("hinge-axis-uncertain", "grave")
    assert "at least 3 : 1 is needed" in told


def test_bends_with_the_thigh_held_are_taken_without_a_word():
    assert calibrate(oriented(THIGH_HELD), "hinge").warnings == ()


@pytest.mark.parametrize(
    ("ratio", "apart_deg", "from_walk", "said"),
    [
        (SURE_HINGE, 20.0, False, 0),
        (SURE_HINGE - 0.001, 0.0, False, 1),
        (LEAST_HINGE - 0.001, 9.9, False, 1),
        (LEAST_HINGE - 0.001, 9.9, True, 0),
        (LEAST_HINGE - 0.001, 10.1, True, 1),
    ],
)
def test_limits_of_the_warning(ratio, apart_deg, from_walk, said):
    assert len(_hinge_uncertain(ratio, apart_deg, from_walk)) == said
