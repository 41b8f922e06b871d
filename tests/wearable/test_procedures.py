"""Named procedures on invented signals with a known angle, and what they refuse."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.errors import AngleError
from twinangle.signals.recording import (
    Interval,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.procedures import PROCEDURES, WearableTrial, estimate_motion

STANDING, BENDING = Interval(0.5, 3.5), Interval(4.0, 12.0)


def trial_of(invented, **changes):
    return replace(WearableTrial(invented.pair, STANDING, BENDING, "knee", "left"), **changes)


def rms_demeaned(angle, truth):
    difference = angle - truth
    return np.sqrt(np.nanmean((difference - np.nanmean(difference)) ** 2))


@pytest.mark.parametrize(
    ("name", "most"),
    [("kalman", 0.35), ("kalman-forward", 0.8), ("vqf", 1.2), ("vqf-forward", 1.5)],
)
def test_known_angle_is_recovered(invented, name, most):
    motion = estimate_motion(trial_of(invented), name)
    assert rms_demeaned(motion.angle.angle_deg, invented.truth_deg) < most
    assert abs(np.mean(motion.angle.angle_deg - invented.truth_deg)) < 1.5
    assert motion.quality.neutral_scatter_deg < 0.5
    assert motion.quality.axis_difference_deg < 1
    assert motion.warnings == ()


def test_rates_are_those_of_the_shank(invented):
    motion = estimate_motion(trial_of(invented), "kalman")
    tilt = np.gradient(np.radians(invented.truth_deg), 0.01)
    bending = (invented.time > 5) & (invented.time < 11)  # the thigh is nearly still there
    assert np.corrcoef(motion.sagittal_rate_rad_s[bending], tilt[bending])[0, 1] > 0.97
    assert np.mean(motion.vertical_rate_rad_s[2000:]) == pytest.approx(0.06, abs=0.01)


def test_stated_flexion_in_standing_replaces_zero(invented):
    plain = estimate_motion(trial_of(invented), "vqf")
    stated = estimate_motion(trial_of(invented, standing_deg=4.0), "vqf")
    np.testing.assert_allclose(stated.angle.angle_deg, plain.angle.angle_deg + 4.0)
    with pytest.raises(ValueError, match="standing_deg"):
        trial_of(invented, standing_deg=float("nan"))


@pytest.mark.parametrize("method", ["principal-component", "hinge"])
def test_axis_can_be_found_otherwise(invented, method):
    trial = trial_of(invented, axis_method=method)
    motion = estimate_motion(trial, "vqf")
    assert rms_demeaned(motion.angle.angle_deg, invented.truth_deg) < 0.5
    with pytest.raises(ValueError, match=r"axis_method.*got 'median'"):
        trial_of(invented, axis_method="median")


def cut(sensor, start, stop):
    return replace(
        sensor,
        accelerometer=sensor.accelerometer[start:stop],
        gyroscope=sensor.gyroscope[start:stop],
        magnetometer=sensor.magnetometer[start:stop],
    )


def test_standing_and_functional_movement_in_files_of_their_own(invented):
    parts = {
        name: SensorPair(cut(invented.pair.proximal, *span), cut(invented.pair.distal, *span))
        for name, span in {
            "static": (0, 380),
            "functional": (350, 1250),
            "walk": (1300, 6000),
        }.items()
    }
    motion = estimate_motion(WearableTrial(**parts), "kalman")
    assert rms_demeaned(motion.angle.angle_deg, invented.truth_deg[1300:]) < 0.6


def test_orientations_give_the_same_angle_and_rates_as_signals(invented):
    pair = OrientationPair(vqf_offline(invented.pair.proximal), vqf_offline(invented.pair.distal))
    given = estimate_motion(trial_of(invented, walk=pair), "orientation")
    signals = estimate_motion(trial_of(invented), "vqf")
    np.testing.assert_allclose(given.angle.angle_deg, signals.angle.angle_deg, atol=1e-9)
    difference = given.sagittal_rate_rad_s - signals.sagittal_rate_rad_s
    assert np.sqrt(np.mean(difference**2)) < 0.1


def test_gap_in_one_sensor_is_a_gap_in_the_angle(invented):
    gyroscope = invented.pair.distal.gyroscope.copy()
    gyroscope[3000:3100] = np.nan
    holed = SensorPair(invented.pair.proximal, replace(invented.pair.distal, gyroscope=gyroscope))
    angle = estimate_motion(trial_of(invented, walk=holed), "kalman").angle.angle_deg
    assert np.isnan(angle[3000:3100]).all()
    whole = estimate_motion(trial_of(invented), "kalman").angle.angle_deg
    for part in (slice(1500, 2990), slice(3110, None)):
        assert np.sqrt(np.mean((angle[part] - whole[part]) ** 2)) < 1.0


def test_without_functional_movement_the_walk_gives_the_axis_with_a_warning(invented):
    motion = estimate_motion(trial_of(invented, functional=None), "kalman")
    assert any("taken from the walk itself" in text for text in motion.warnings)
    assert rms_demeaned(motion.angle.angle_deg, invented.truth_deg) < 0.5


def test_swapped_orientations_are_warned_about(invented):
    """Orientations carry no lever arms (see test_joint_centre_heading), only a likelihood."""
    swapped = OrientationPair(
        vqf_offline(invented.pair.distal), vqf_offline(invented.pair.proximal)
    )
    motion = estimate_motion(trial_of(invented, walk=swapped), "orientation")
    assert any("[wearable.proximal]" in text for text in motion.warnings)


def test_refusals_say_what_is_needed(invented):
    with pytest.raises(AngleError, match=r"'kalman', 'kalman-forward'.*got 'magic'"):
        estimate_motion(trial_of(invented), "magic")
    with pytest.raises(AngleError, match="static_start_s"):
        estimate_motion(trial_of(invented, static=None), "vqf")
    with pytest.raises(AngleError, match=r"0\.5 to 99 s, must hold"):
        estimate_motion(trial_of(invented, static=Interval(0.5, 99.0)), "vqf")
    bare = SensorPair(invented.pair.proximal, invented.pair.distal.without_magnetometer())
    with pytest.raises(AngleError, match=r"distal sensor .* has no magnetometer"):
        estimate_motion(trial_of(invented, walk=bare), "vqf")
    with pytest.raises(AngleError, match="takes quaternions"):
        estimate_motion(trial_of(invented), "orientation")
    standing = OrientationRecording(np.tile([1.0, 0, 0, 0], (6000, 1)), 0.0, 100.0, "standing")
    still = OrientationPair(standing, standing)
    with pytest.raises(AngleError, match="takes raw signals"):
        estimate_motion(trial_of(invented, walk=still), "kalman")
    with pytest.raises(AngleError, match="no flexion axis"):
        estimate_motion(trial_of(invented, walk=still), "orientation")
    with pytest.raises(AngleError, match="static recording holds orientations"):
        trial_of(invented, static=still)


def test_the_registry_cannot_be_changed_in_passing():
    with pytest.raises(TypeError, match="does not support item assignment"):
        PROCEDURES["kalman"] = None
