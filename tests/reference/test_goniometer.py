"""The reference's angle: calibration, filter, joint coordinate system."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.errors import RecordingError
from twinangle.reference.goniometer import (
    calibrated_angle,
    reference_angle,
    segment_angle,
    zero_at_standing,
)
from twinangle.reference.joint_coordinate_system import joint_coordinate_angles
from twinangle.reference.low_pass import zero_phase_low_pass
from twinangle.reference.odd_readings import reference_notes
from twinangle.signals.recording import AngleRecording, Interval, Recording
from twinangle.study import AngleReference, OrientationReference

TIME = np.arange(300) / 100
KNEE = 30 - 30 * np.cos(2 * np.pi * TIME)


def recording(values, channels=("knee",)) -> Recording:
    values = np.atleast_2d(np.asarray(values, float).T).T
    return Recording(TIME[: len(values)], values, tuple(channels), ("",) * len(channels), "g.csv")


@pytest.mark.parametrize(
    ("values", "asked"),
    [
        (KNEE, {}),
        (-KNEE, {"sign": -1}),
        (np.radians(KNEE), {"unit": "rad"}),
        ((KNEE - 5) / 90, {"unit": "V", "gain": 90.0, "offset": 5.0}),
        (-(KNEE + 7) / 90, {"unit": "V", "gain": 90.0, "offset": 7.0, "sign": -1}),
    ],
)
def test_calibration_gives_degrees_of_flexion(values, asked):
    angle = calibrated_angle(recording(values), column="knee", **asked)

    assert_allclose(angle.angle_deg, KNEE, atol=1e-10)
    assert (angle.start_s, angle.rate_hz) == (0.0, 100.0)


@pytest.mark.parametrize(
    ("values", "asked", "part"),
    [
        (np.full(300, 3.0), {}, "'knee' holds the same value"),
        (np.full(300, np.nan), {}, "'knee' holds no value"),
        (KNEE[:5], {}, "holds 5 samples"),
        (KNEE, {"unit": "rad"}, "looks like 'deg'"),
        (np.radians(KNEE), {}, "looks like radians"),
        (KNEE, {"filter_hz": 50.0}, "carry less than 50 Hz"),
    ],
)
def test_an_impossible_angle_is_refused(values, asked, part):
    with pytest.raises(RecordingError, match=part):
        calibrated_angle(recording(values), column="knee", **asked)


def test_zero_at_standing_subtracts_the_mean_and_says_how_much():
    angle = AngleRecording(np.r_[np.full(100, 4.0), KNEE[:200]], 10.0, 100.0, "g.csv")

    zeroed, removed = zero_at_standing(angle, Interval(10.1, 10.9))

    assert removed == 4.0
    assert_allclose(zeroed.angle_deg, angle.angle_deg - 4.0)
    with pytest.raises(RecordingError, match="where neutral standing is"):
        zero_at_standing(angle, Interval(0, 5))


def test_the_filter_halves_the_power_at_its_cut_off_and_shifts_nothing():
    time = np.arange(8000) / 1000
    middle = slice(2000, 6000)  # whole periods, away from the ends
    for frequency in (1.0, 10.0, 40.0):
        # The squared Butterworth response (bilinear transform) that halves the power at 10 Hz.
        warped = np.tan(np.pi * frequency / 1000) / np.tan(np.pi * 10 / 1000)
        gain = 1 / (1 + (np.sqrt(2) - 1) * warped**4)
        wave = np.sin(2 * np.pi * frequency * time)
        filtered = zero_phase_low_pass(wave, rate_hz=1000, cutoff_hz=10)[middle]
        assert filtered @ wave[middle] / (wave[middle] @ wave[middle]) == pytest.approx(
            gain, abs=1e-4
        )
        quarter = np.cos(2 * np.pi * frequency * time)[middle]
        assert filtered @ quarter == pytest.approx(0, abs=1e-2)


def test_gaps_stay_gaps_and_each_stretch_is_filtered_alone():
    values = KNEE.copy()
    values[100:110] = np.nan

    filtered = zero_phase_low_pass(values, rate_hz=100, cutoff_hz=6)

    assert np.isnan(filtered[100:110]).all()
    assert_allclose(filtered[:100], zero_phase_low_pass(values[:100], rate_hz=100, cutoff_hz=6))
    assert_allclose(filtered[110:], zero_phase_low_pass(values[110:], rate_hz=100, cutoff_hz=6))


def quaternions(rotation: Rotation) -> np.ndarray:
    return rotation.as_quat(scalar_first=True)


@given(
    flexion=st.floats(-179, 179),
    abduction=st.floats(-80, 80),
    turn=st.floats(-179, 179),
    axes=st.permutations(["x", "y", "z"]),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=100, deadline=None)
def test_composed_rotations_are_recovered(flexion, abduction, turn, axes, seed):
    # Grood & Suntay 1983: flexion about the proximal axis, abduction about the floating axis,
    # rotation about the distal axis. Composed here from rotation vectors, axis by axis.
    unit = dict(zip("xyz", np.eye(3), strict=True))
    proximal = Rotation.random(rng=np.random.default_rng(seed))
    first = Rotation.from_rotvec(np.radians(flexion) * unit[axes[0]])
    second = Rotation.from_rotvec(np.radians(abduction) * unit[axes[1]])
    third = Rotation.from_rotvec(np.radians(turn) * unit[axes[2]])
    distal = proximal * first * second * third

    angles = joint_coordinate_angles(
        quaternions(proximal)[None], quaternions(distal)[None],
        flexion_axis=axes[0], long_axis=axes[2],
    )  # fmt: skip

    assert_allclose(angles[0], [flexion, abduction, turn], atol=1e-9)


def test_the_floating_axis_is_normal_to_both_body_fixed_axes():
    # The definition itself (Grood & Suntay 1983): with e1 the proximal mediolateral axis and e3
    # the distal long axis, the floating axis is e3 x e1, and flexion is the angle between it and
    # the proximal frame's remaining axis, measured about e1.
    rng = np.random.default_rng(3)
    proximal, distal = Rotation.random(50, rng=rng), Rotation.random(50, rng=rng)
    e1, e3 = proximal.apply([0, 0, 1]), distal.apply([0, 1, 0])
    floating = np.cross(e3, e1)
    forward, up = proximal.apply([1, 0, 0]), proximal.apply([0, 1, 0])
    expected = np.degrees(np.arctan2((floating * up).sum(axis=1), (floating * forward).sum(axis=1)))

    angles = joint_coordinate_angles(quaternions(proximal), quaternions(distal))

    assert_allclose(angles[:, 0], expected, atol=1e-9)


def segments(flexion_deg, sign=1) -> Recording:
    """Return a recording of two segment frames, z to the right, the thigh swinging."""
    thigh = Rotation.from_rotvec(np.outer(20 * np.sin(TIME), [0, 0, 1]), degrees=True)
    shank = thigh * Rotation.from_rotvec(np.outer(sign * flexion_deg, [0, 0, 1]), degrees=True)
    names = [f"{segment}_{axis}" for segment in ("thigh", "shank") for axis in "wxyz"]
    return recording(np.hstack([quaternions(thigh), quaternions(shank)]), names)


THIGH = SimpleNamespace(quaternion=("thigh_w", "thigh_x", "thigh_y", "thigh_z"))
SHANK = SimpleNamespace(quaternion=("shank_w", "shank_x", "shank_y", "shank_z"))


def test_flexion_of_two_segments_is_the_turn_between_them():
    angle = segment_angle(segments(KNEE, sign=-1), proximal=THIGH, distal=SHANK, sign=-1)

    assert_allclose(angle.angle_deg, KNEE, atol=1e-9)


def test_flexion_goes_on_beyond_a_half_turn():
    ramp = np.linspace(0, 250, 300)

    angle = segment_angle(segments(ramp), proximal=THIGH, distal=SHANK)

    assert_allclose(angle.angle_deg, ramp, atol=1e-9)


def test_quaternion_signs_and_gaps_do_not_matter():
    clean = segments(KNEE)
    values = clean.values.copy()
    values[::3, :4] *= -1
    values[50:60, 6] = np.nan

    angle = segment_angle(recording(values, clean.channels), proximal=THIGH, distal=SHANK)

    assert np.isnan(angle.angle_deg[50:60]).all()
    present = np.isfinite(angle.angle_deg)
    assert present.sum() == 290
    assert_allclose(angle.angle_deg[present], KNEE[present], atol=1e-9)


def test_a_quaternion_off_unit_length_is_refused_with_its_value():
    clean = segments(KNEE)
    values = clean.values.copy()
    values[120] *= 1.1

    with pytest.raises(RecordingError, match=r"at 1\.2 s \(sample 121\).*of length 1\.1"):
        segment_angle(recording(values, clean.channels), proximal=THIGH, distal=SHANK)


def test_the_study_files_section_chooses_the_kind():
    angle = AngleReference(kind="angle", angle="knee", sign=-1)
    assert_allclose(reference_angle(recording(-KNEE), angle).angle_deg, KNEE)

    orientation = OrientationReference.model_validate(
        {
            "kind": "orientation",
            "proximal": {"quaternion": THIGH.quaternion},
            "distal": {"quaternion": SHANK.quaternion},
        }
    )
    assert_allclose(reference_angle(segments(KNEE), orientation).angle_deg, KNEE, atol=1e-9)


def test_saturated_readings_become_gaps_and_are_counted():
    values = np.clip(KNEE / 20, 0.05, 2.5)
    asked = AngleReference(kind="angle", angle="knee", unit="V", gain=20.0, limits=(0.05, 2.5))

    angle = reference_angle(recording(values), asked)

    inside = (KNEE / 20 > 0.05) & (KNEE / 20 < 2.5)
    assert_allclose(angle.angle_deg[inside], KNEE[inside])
    assert np.isnan(angle.angle_deg[~inside]).all()
    (note,) = reference_notes(recording(values), asked)
    assert f"{(~inside).sum()} of 300 samples at or beyond the limits (0.05, 2.5)" in note


def test_the_second_planes_crosstalk_is_taken_out():
    abduction = 8 * np.sin(2 * np.pi * TIME + 0.4)
    asked = AngleReference(kind="angle", angle="knee", second_plane="abd", crosstalk=0.2, sign=-1)
    both = recording(np.column_stack([-KNEE + 0.2 * abduction, abduction]), ("knee", "abd"))

    assert asked.columns == ("knee", "abd")
    assert_allclose(reference_angle(both, asked).angle_deg, KNEE, atol=1e-12)


def test_a_plug_pulled_out_is_told_with_its_time():
    values = KNEE.copy()
    values[120:230] = 17.25

    notes = reference_notes(recording(values), AngleReference(kind="angle", angle="knee"))

    (note,) = notes
    assert "does not change by a bit for 1.1 s from 1.2 s on; was it disconnected?" in note
    assert reference_notes(recording(KNEE), AngleReference(kind="angle", angle="knee")) == ()
