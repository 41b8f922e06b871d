"""Markers: poses, frames, gaps, and flexion by both methods."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.spatial.transform import Rotation

from twinangle.errors import RecordingError
from twinangle.formats import read_recording
from twinangle.reference.goniometer import reference_angle
from twinangle.reference.markers import (
    anatomical_axes,
    fill_short_gaps,
    fit_pose,
    mean_shape,
    sagittal_angle,
)
from twinangle.reference.optical import marker_angle
from twinangle.signals.recording import Recording
from twinangle.signals.timing import regularise
from twinangle.study import MarkerReference

DATA = Path(__file__).resolve().parents[2] / "reference_data/walking_markers"


@given(n_markers=st.integers(3, 8), noise=st.floats(0, 5), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_the_pose_is_that_of_the_reference_library(n_markers, noise, seed):
    # scipy.spatial.transform.Rotation.align_vectors solves the same least-squares problem.
    rng = np.random.default_rng(seed)
    # A wide triangle first: markers near a line have no pose, which is another test's matter.
    shape = rng.normal(0, 100, (n_markers, 3))
    triangle = np.array([[0, 0, 0], [150, 0, 0], [0, 150, 0]])
    shape[:3] = triangle + rng.normal(0, 10, (3, 3))
    true = Rotation.random(rng=rng)
    seen = true.apply(shape) + rng.normal(0, 1000, 3) + rng.normal(0, noise, shape.shape)

    pose = fit_pose(shape, seen[np.newaxis])

    library, distance = Rotation.align_vectors(seen - seen.mean(0), shape - shape.mean(0))
    error = Rotation.from_matrix(pose.rotation[0]) * library.inv()
    assert np.degrees(error.magnitude()) < 1e-6
    # The library takes the distance from a difference of sums: good to about 1e-6 here.
    assert pose.residual[0] == pytest.approx(distance / np.sqrt(n_markers), abs=1e-5)
    fitted = pose.rotation[0] @ shape.mean(0) + pose.translation[0]
    assert_allclose(fitted, seen.mean(0), atol=1e-9)


def test_a_pose_needs_three_markers_out_of_line():
    shape = np.array([[0, 0, 0], [100, 0, 0], [200, 1, 0], [100, 80, 0]], float)
    markers = np.repeat(shape[np.newaxis], 4, axis=0)
    markers[1, 3] = np.nan  # leaves three in a line
    markers[2, :2] = np.nan  # leaves two
    markers[3, 0] = np.nan  # leaves three that serve

    pose = fit_pose(shape, markers)

    assert_array_equal(np.isnan(pose.residual), [False, True, True, False])
    assert_array_equal(pose.n_seen, [4, 3, 2, 3])
    assert_allclose(pose.rotation[3], np.eye(3), atol=1e-12)
    with pytest.raises(ValueError, match="not in a line"):
        fit_pose(shape[:3], markers[:, :3])


def test_the_mean_shape_is_found_although_the_cluster_moves():
    rng = np.random.default_rng(4)
    shape = rng.normal(0, 80, (4, 3))
    turns = Rotation.random(400, rng=rng).as_matrix()
    markers = np.einsum("nij,mj->nmi", turns, shape) + rng.normal(0, 500, (400, 1, 3))
    markers += rng.normal(0, 1, markers.shape)

    found = mean_shape(markers)

    # 400 frames with 1 mm of noise: about 0.05 mm a coordinate.
    assert fit_pose(shape, found[np.newaxis]).residual[0] < 0.2


def test_short_gaps_are_bridged_and_long_ones_left():
    time = np.arange(400) / 100
    clean = np.column_stack([np.sin(5 * time), np.cos(5 * time)])
    values = clean.copy()
    values[50:55, 0] = np.nan
    values[200:211] = np.nan
    values[:3] = np.nan
    values[398:] = np.nan

    filled, was_filled = fill_short_gaps(values, 10)

    assert_array_equal(np.flatnonzero(was_filled), np.arange(50, 55))
    assert_allclose(filled[50:55], clean[50:55], atol=1e-4)
    assert np.isnan(filled[[0, 1, 2, *range(200, 211), 398, 399]]).all()


def test_anatomical_axes_are_right_handed_and_point_as_said():
    # Wu & Cavanagh 1995: x forwards, y upwards, z to the right.
    axes = anatomical_axes(
        upper=np.array([0, 400.0, 0]), lower=np.zeros(3), right=np.array([3.0, 10.0, 90.0])
    )

    assert np.linalg.det(axes) == pytest.approx(1)
    assert axes[1, 1] == pytest.approx(1)
    assert axes[0, 0] > 0.99
    assert axes[2, 2] > 0.99
    with pytest.raises(ValueError, match="in a line"):
        anatomical_axes(upper=np.array([0, 1.0, 0]), lower=np.zeros(3), right=np.array([0, 2.0, 0]))


@given(thigh=st.floats(40, 140), flexion=st.floats(-20, 150))
@settings(max_examples=50, deadline=None)
def test_the_sagittal_angle_is_thigh_minus_shank(thigh, flexion):
    def end(degrees):
        return np.array([[np.cos(np.radians(degrees)), np.sin(np.radians(degrees))]])

    zero = np.zeros((1, 2))
    angle = sagittal_angle(
        proximal_upper=end(thigh), proximal_lower=zero,
        distal_upper=end(thigh - flexion), distal_lower=zero,
    )  # fmt: skip

    assert angle[0] == pytest.approx(flexion, abs=1e-9)


LEG = MarkerReference.model_validate(
    {
        "kind": "markers",
        "rate_hz": 100.0,
        "calibration_start_s": 0.0,
        "calibration_end_s": 0.5,
        "proximal": {
            "markers": ("T1", "T2", "T3", "T4"), "lateral": "LE", "medial": "ME", "upper": "GT",
        },
        "distal": {"markers": ("S1", "S2", "S3", "S4"), "lateral": "LM", "medial": "MM"},
    }
)  # fmt: skip
THIGH = {
    "T1": (60, 300, 40), "T2": (70, 200, 50), "T3": (20, 250, 80), "T4": (50, 150, -60),
    "GT": (0, 400, 0), "LE": (0, 0, 45), "ME": (0, 0, -45),
}  # fmt: skip
SHANK = {
    "S1": (50, -100, 30), "S2": (60, -200, 40), "S3": (20, -150, 60), "S4": (40, -250, -40),
    "LM": (0, -400, 38), "MM": (0, -400, -38),
}  # fmt: skip


def leg(flexion, abduction, turn, *, side="right") -> Recording:
    """Return an invented leg, millimetres; z to the right, the thigh swinging and turning."""
    n = len(flexion)
    mirror = 1 if side == "right" else -1
    swing = Rotation.from_rotvec(
        np.column_stack([0.1 * np.sin(np.arange(n) / 30), np.full(n, 0.4), np.arange(n) / 400])
    )
    zero = np.zeros(n)
    knee = (  # joint coordinate system, flexion left-handed about the axis to the right
        Rotation.from_rotvec(np.column_stack([zero, zero, -flexion]), degrees=True)
        * Rotation.from_rotvec(np.column_stack([abduction, zero, zero]), degrees=True)
        * Rotation.from_rotvec(np.column_stack([zero, turn, zero]), degrees=True)
    )
    hip = np.column_stack([10.0 * np.arange(n), np.full(n, 500.0), zero])
    columns, names = [], []
    for rotation, body in ((swing, THIGH), (swing * knee, SHANK)):
        for name, place in body.items():
            columns.append(hip + rotation.apply(np.array(place, float) * [1, 1, mirror]))
            names += [f"{name}_{axis}" for axis in "xyz"]
    return Recording(
        np.arange(n) / 100, np.hstack(columns), tuple(names), ("",) * len(names), "leg.csv"
    )


TIME = np.arange(300) / 100
FLEXION = 30 - 30 * np.cos(2 * np.pi * np.maximum(TIME - 0.6, 0))
ABDUCTION = 0.1 * FLEXION
TURN = -0.2 * FLEXION


@pytest.mark.parametrize("side", ["left", "right"])
def test_flexion_is_recovered_on_either_side(side):
    angle = reference_angle(leg(FLEXION, ABDUCTION, TURN, side=side), LEG, side=side)

    assert_allclose(angle.angle_deg, FLEXION, atol=1e-9)


def test_an_elbow_flexes_the_other_way():
    angle = reference_angle(leg(-FLEXION, ABDUCTION, TURN), LEG, joint="elbow", side="right")

    assert_allclose(angle.angle_deg, FLEXION, atol=1e-9)


def with_gap(recording: Recording, name: str, start: int, end: int) -> Recording:
    values = recording.values.copy()
    values[start:end, [recording.channels.index(f"{name}_{axis}") for axis in "xyz"]] = np.nan
    return Recording(
        recording.time_s, values, recording.channels, recording.units, recording.source
    )


def test_a_hidden_marker_is_made_up_for_by_the_rigid_body():
    hidden = with_gap(leg(FLEXION, ABDUCTION, TURN), "S2", 100, 250)

    angle, notes = marker_angle(hidden, LEG, joint="knee", side="right")

    assert_allclose(angle, FLEXION, atol=1e-9)
    (note,) = notes
    assert "150 frame(s) of the distal segment solved from fewer markers" in note


def test_frames_with_too_few_markers_are_bridged_briefly_and_left_otherwise():
    hidden = leg(FLEXION, ABDUCTION, TURN)
    for name in ("S1", "S2"):
        hidden = with_gap(hidden, name, 100, 106)
        hidden = with_gap(hidden, name, 200, 240)

    angle, notes = marker_angle(hidden, LEG, joint="knee", side="right")

    assert_array_equal(np.flatnonzero(np.isnan(angle)), np.arange(200, 240))
    assert_allclose(angle[:200], FLEXION[:200], atol=0.05)
    assert any("6 of 300 frames bridged" in note for note in notes)
    assert any("40 of 300 frames left as gaps" in note for note in notes)


def test_a_cluster_that_is_not_rigid_is_told():
    loose = leg(FLEXION, ABDUCTION, TURN)
    values = loose.values.copy()
    swap = [loose.channels.index(f"S2_{axis}") for axis in "xyz"]
    values[:, swap] += 80 * np.sin(20 * TIME)[:, np.newaxis]
    moved = Recording(loose.time_s, values, loose.channels, loose.units, loose.source)

    _, notes = marker_angle(moved, LEG, joint="knee", side="right")

    assert any("distal cluster fits a rigid body to" in note for note in notes)


@pytest.mark.parametrize(
    ("change", "asked", "part"),
    [
        ({}, {"side": ""}, "needs to know the limb"),
        ({"calibration_start_s": 8.0, "calibration_end_s": 9.0}, {}, "no frame between 8.0"),
        ({"filter_hz": 60.0}, {}, "carry less than 50 Hz"),
    ],
)
def test_what_the_frames_cannot_be_built_from_is_refused(change, asked, part):
    with pytest.raises(RecordingError, match=part):
        reference_angle(
            leg(FLEXION, ABDUCTION, TURN),
            LEG.model_copy(update=change),
            **({"side": "right"} | asked),
        )


def test_a_marker_that_is_never_seen_is_named():
    with pytest.raises(RecordingError, match="marker 'LM' is never seen"):
        reference_angle(with_gap(leg(FLEXION, ABDUCTION, TURN), "LM", 0, 300), LEG, side="right")


@pytest.mark.parametrize(
    ("name", "side", "low", "high"),
    [
        # Computed beforehand by an independent script, in space: the included angle of trochanter
        # to knee against fibula head to ankle; ours is its part in the plane.
        ("walk_1_150hz.csv", "R", 2.9, 59.0),
        ("walk_1_150hz.csv", "L", 2.4, 55.7),
        ("walk_2_150hz.csv", "R", 0.3, 58.3),
        ("walk_2_150hz.csv", "L", 1.5, 60.3),
    ],
)
def test_real_walking_trials_give_plausible_knees(name, side, low, high):
    chosen = MarkerReference.model_validate(
        {
            "kind": "markers", "method": "sagittal", "time": "time_s",
            "marker_columns": "{marker}_{axis}_mm",
            "proximal": {"upper": f"{side}_GTR", "lower": f"{side}_Knee"},
            "distal": {"upper": f"{side}_HF", "lower": f"{side}_Ankle"},
        }
    )  # fmt: skip
    recording = read_recording(DATA / name, columns=chosen.columns, time="time_s")
    uniform, report = regularise(recording)

    angle = reference_angle(uniform, chosen).angle_deg

    assert report.rate_hz == pytest.approx(150, rel=0.001)
    assert np.isfinite(angle).all()
    assert np.max(angle) == pytest.approx(high, abs=2.0)
    # An included angle has no sign: where the signed one is negative its smallest size is near
    # zero. These legs stretch a few degrees beyond straight, markers being skin-deep.
    assert -10 < np.min(angle) < low + 1


def test_a_real_trial_gives_a_plausible_knee_and_its_stray_marker_is_told():
    common = {"kind": "markers", "time": "Time", "marker_columns": "{marker}{axis}"}
    plane = MarkerReference.model_validate(
        {
            **common, "method": "sagittal",
            "proximal": {"upper": "FH", "lower": "LE"},
            "distal": {"upper": "HF", "lower": "LM"},
        }
    )  # fmt: skip
    space = MarkerReference.model_validate(
        {
            **common, "calibration_start_s": 0.0, "calibration_end_s": 1.3,
            "proximal": {
                "markers": ("FH", "LE", "ME"), "lateral": "LE", "medial": "ME", "upper": "FH",
            },
            "distal": {"markers": ("HF", "TT", "LM", "MM"), "lateral": "LM", "medial": "MM"},
        }
    )  # fmt: skip
    columns = tuple(dict.fromkeys((*plane.columns, *space.columns)))
    uniform, _ = regularise(
        read_recording(DATA / "walk_3_marker_force.csv", columns=columns, time="Time")
    )

    angle = reference_angle(uniform, plane).angle_deg
    _, notes = marker_angle(uniform, space, joint="knee", side="right")

    # Normal knee in walking: 60-65° of flexion in swing, near extension at contact (from memory).
    assert 50 < angle.max() < 75
    assert -10 < angle.min() < 10
    # ME lies 26 cm from LE and the distance changes by 5 cm (SD): it is on another segment. The
    # shank's four markers keep their distances to within 5 mm.
    (note,) = notes
    assert "proximal cluster fits a rigid body to" in note
