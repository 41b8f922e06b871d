"""Heading without magnetometers on invented signals with a known heading difference."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.errors import AngleError
from twinangle.signals.recording import Interval, OrientationPair, SensorPair
from twinangle.wearable import quaternions
from twinangle.wearable.heading.hinge import hinge_axes, hinge_heading
from twinangle.wearable.heading.joint_centre import (
    find_joint_centre,
    liveliest,
    shared_terms,
)
from twinangle.wearable.heading.relative import joint_centre_heading
from twinangle.wearable.orientation import kalman, vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion

STANDING, BENDING = Interval(0.5, 3.5), Interval(4.0, 12.0)
LATERAL = np.array([0.0, 1.0, 0.0])


def six_axis(pair, orient=vqf_offline):
    return OrientationPair(
        orient(pair.proximal.without_magnetometer()), orient(pair.distal.without_magnetometer())
    )


def true_heading(walk, oriented):
    """The turn that brings the hinge axis, known in both sensors, to one direction."""
    views = []
    for mount, one in zip(walk.mounts, (oriented.proximal, oriented.distal), strict=True):
        seen = quaternions.rotate(one.quaternion, mount.inv().apply(LATERAL))
        views.append(seen[:, 0] + 1j * seen[:, 1])
    return np.angle(views[0] * views[1].conj())


def wrapped_deg(angle):
    return np.degrees((angle + np.pi) % (2 * np.pi) - np.pi)


@pytest.mark.parametrize("orient", [vqf_offline, kalman])
def test_heading_and_arms_are_recovered(invented, orient):
    oriented = six_axis(invented.pair, orient)
    found = joint_centre_heading(invented.pair, oriented)
    error = wrapped_deg(found.heading_rad - true_heading(invented, oriented))
    assert np.abs(error).max() < 1.0  # standing at the start included
    assert np.sqrt(np.mean(error**2)) < found.standard_error_deg < 1.0
    for mount, arm, seen in zip(
        invented.mounts,
        invented.arms,
        (found.proximal_arm_m, found.distal_arm_m),
        strict=True,
    ):
        # Along the hinge axis the arm is hardly seen; square to it within 2 mm.
        off = mount.apply(seen) - arm
        assert np.hypot(off[0], off[2]) < 0.002


def test_a_drifting_heading_is_followed(invented):
    oriented = six_axis(invented.pair)
    drift = np.radians(12 * np.sin(2 * np.pi * invented.time / 120))
    turn = quaternions.about_axis(np.array([0, 0, 1.0]), drift)
    distal = replace(
        oriented.distal, quaternion=quaternions.multiply(turn, oriented.distal.quaternion)
    )
    drifting = OrientationPair(oriented.proximal, distal)
    found = joint_centre_heading(invented.pair, drifting)
    error = wrapped_deg(found.heading_rad - true_heading(invented, drifting))
    walking = invented.time > 16
    assert np.sqrt(np.mean(error[walking] ** 2)) < 0.5


def test_a_turn_of_the_whole_person_or_the_start_heading_changes_nothing(invented):
    trial = WearableTrial(invented.pair, STANDING, BENDING)
    oriented = six_axis(invented.pair)
    about = quaternions.about_axis(np.array([0, 0, 1.0]), np.array([2.5]))
    turned = OrientationPair(
        oriented.proximal,
        replace(
            oriented.distal, quaternion=quaternions.multiply(about, oriented.distal.quaternion)
        ),
    )
    plain = joint_centre_heading(trial.walk, oriented)
    other = joint_centre_heading(trial.walk, turned)
    assert_allclose(wrapped_deg(other.heading_rad + 2.5 - plain.heading_rad), 0, atol=1e-3)


def test_the_fit_at_a_known_heading_is_the_linear_least_squares_solution(invented):
    """numpy.linalg.lstsq on the stacked equations as the reference, without weights."""
    oriented = six_axis(invented.pair)
    both = (invented.pair.proximal, invented.pair.distal)
    one, two = shared_terms(both, (oriented.proximal, oriented.distal), liveliest(*both))
    heading = float(np.median(true_heading(invented, oriented)))
    turn = Rotation.from_euler("z", heading).as_matrix()
    turned = turn @ two.columns
    matrix = np.concatenate([one.columns[:, :, :3], -turned[:, :, :3]], axis=2).reshape(-1, 6)
    right = (one.columns[:, :, 3] - turned[:, :, 3]).reshape(-1)
    arms = np.linalg.lstsq(matrix, right, rcond=None)[0]
    centre = find_joint_centre(one, two, heading_rad=heading)
    ours = np.concatenate([centre.proximal_arm_m, centre.distal_arm_m])
    assert np.linalg.norm(matrix @ (ours - arms)) / np.sqrt(len(right)) < 0.01  # m/s²
    free = find_joint_centre(one, two)
    assert abs(wrapped_deg(free.heading_rad - heading)) < 0.3


@pytest.mark.parametrize("name", ["kalman-joint-centre", "vqf-joint-centre"])
def test_known_angle_without_magnetometers(invented, name):
    bare = SensorPair(
        invented.pair.proximal.without_magnetometer(), invented.pair.distal.without_magnetometer()
    )
    motion = estimate_motion(WearableTrial(bare, STANDING, BENDING), name)
    assert np.std(motion.angle.angle_deg - invented.truth_deg) < 0.2
    assert motion.quality.heading_uncertainty_deg < 1.0
    assert motion.quality.residual_deg.mean() < 0.5
    assert motion.warnings == ()


@pytest.mark.parametrize("name", ["kalman-hinge", "vqf-hinge"])
def test_known_angle_from_the_hinge_states_its_systematic_error(invented, name):
    motion = estimate_motion(WearableTrial(invented.pair, STANDING, BENDING), name)
    assert np.std(motion.angle.angle_deg - invented.truth_deg) < 0.2
    assert motion.quality.heading_uncertainty_deg >= 10
    assert "no pure hinge" in motion.warnings[0]


def test_hinge_axes_are_recovered_on_a_hinge_and_tilted_off_it(invented, coupled):
    def tilt(walk):
        axes = hinge_axes(walk.pair.proximal.gyroscope, walk.pair.distal.gyroscope)
        return max(
            np.degrees(np.arccos(min(1.0, abs(mount.inv().apply(LATERAL) @ axis))))
            for mount, axis in zip(walk.mounts, (axes.proximal, axes.distal), strict=True)
        )

    assert tilt(invented) < 0.5
    assert tilt(coupled) > 5  # why the hinge is the fallback only


def test_motion_outside_the_hinge_is_counted_apart_and_heading_stays(coupled):
    motion = estimate_motion(WearableTrial(coupled.pair, STANDING, BENDING), "vqf-joint-centre")
    known = WearableTrial(coupled.pair, STANDING, BENDING)
    with_field = estimate_motion(known, "kalman")
    assert motion.quality.residual_deg.max() > 4  # the 6° of abduction
    difference = motion.angle.angle_deg - with_field.angle.angle_deg
    assert np.std(difference) < 0.3
    assert motion.quality.hinge_difference_deg > 5


def window(pair, start, stop):
    parts = []
    for sensor in (pair.proximal, pair.distal):
        parts.append(
            replace(
                sensor,
                accelerometer=sensor.accelerometer[start:stop],
                gyroscope=sensor.gyroscope[start:stop],
                magnetometer=None,
            )
        )
    return SensorPair(*parts)


def test_standing_alone_and_bending_alone_are_refused(invented):
    for pair in (window(invented.pair, 0, 380), window(invented.pair, 0, 1250)):
        with pytest.raises(AngleError, match=r"motion was too little.*as in walking"):
            joint_centre_heading(pair, six_axis(pair))
    still = window(invented.pair, 0, 380)
    with pytest.raises(AngleError, match=r"hinge axis: 0 samples|too steep|cannot tell which way"):
        hinge_heading(still, six_axis(still))
    short = window(invented.pair, 3000, 3130)
    with pytest.raises(AngleError, match="fewer than two seconds"):
        joint_centre_heading(short, six_axis(short))


def test_standing_and_bending_in_files_of_their_own(invented):
    trial = WearableTrial(
        window(invented.pair, 1300, 6000),
        window(invented.pair, 0, 380),
        window(invented.pair, 350, 1250),
    )
    motion = estimate_motion(trial, "vqf-joint-centre")
    assert np.std(motion.angle.angle_deg - invented.truth_deg[1300:]) < 0.6
    assert any("functional recording was left out" in text for text in motion.warnings)
    assert any("heading was taken from the joint's axis" in text for text in motion.warnings)


def test_a_gap_starts_a_new_heading(invented):
    gyroscope = invented.pair.distal.gyroscope.copy()
    gyroscope[3000:3200] = np.nan
    holed = SensorPair(invented.pair.proximal, replace(invented.pair.distal, gyroscope=gyroscope))
    motion = estimate_motion(WearableTrial(holed, STANDING, BENDING), "vqf-joint-centre")
    error = motion.angle.angle_deg - invented.truth_deg
    assert np.isnan(error[3000:3200]).all()
    assert np.nanstd(error) < 0.3
