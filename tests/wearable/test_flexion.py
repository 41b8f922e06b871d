"""The angle from two orientations: exact cases, a numerical optimum, laws, and refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import brentq, minimize_scalar
from scipy.spatial.transform import Rotation

from twinangle.errors import AngleError
from twinangle.signals.recording import OrientationPair, OrientationRecording
from twinangle.wearable import flexion, quaternions


def as_wxyz(rotation):
    return rotation.as_quat(scalar_first=True)


def unit(vector):
    return np.asarray(vector, dtype=float) / np.linalg.norm(vector)


@pytest.mark.parametrize("seed", range(40))
def test_projection_is_the_numerical_optimum(seed):
    """The nearest turn about the axis, found by scipy.optimize without our formula."""
    rng = np.random.default_rng(seed)
    axis = unit(rng.normal(size=3))
    rotation = Rotation.random(rng=rng)

    def distance(angle_deg):  # sin² of half the angle: falls and rises with it, without kinks
        left = rotation.inv() * Rotation.from_rotvec(np.radians(angle_deg) * axis)
        return np.sin(left.magnitude() / 2) ** 2

    start = min(np.arange(-180, 180, 15.0), key=distance)
    best = minimize_scalar(distance, bracket=(start - 16, start, start + 16), tol=1e-12).x
    # Near the minimum the values are flat to rounding; the root of the slope holds the digits.
    best = brentq(
        lambda angle: distance(angle + 10) - distance(angle - 10), best - 1, best + 1, xtol=1e-12
    )

    found = flexion.project_flexion(as_wxyz(rotation)[None], axis)[0]

    assert abs((found - best + 180) % 360 - 180) < 1e-6


@pytest.mark.parametrize(("tilt_deg", "expected"), [(0, 60.0), (10, 59.2), (20, 57.0)])
def test_sixty_degrees_about_a_tilted_axis(tilt_deg, expected):
    """Closed form 2 atan(cos α tan 30°); worked out by hand to a tenth of a degree."""
    tilt = np.radians(tilt_deg)
    turned = quaternions.about_axis(np.array([np.cos(tilt), np.sin(tilt), 0.0]), np.radians([60.0]))
    found = flexion.project_flexion(turned, np.array([1.0, 0, 0]))[0]
    assert_allclose(found, np.degrees(2 * np.arctan(np.cos(tilt) * np.tan(np.radians(30)))))
    assert_allclose(found, expected, atol=0.05)


@given(
    angle_deg=st.floats(-179.9, 179.9),
    seed=st.integers(0, 2**32 - 1),
)
@settings(deadline=None, max_examples=60)
def test_pure_hinge_is_exact_and_leaves_no_residual(angle_deg, seed):
    axis = unit(np.random.default_rng(seed).normal(size=3))
    turned = quaternions.about_axis(axis, np.radians([angle_deg]))
    for same in (turned, -turned):
        assert_allclose(flexion.project_flexion(same, axis), [angle_deg], atol=1e-9)
        assert_allclose(flexion.residual_angle(same, axis), [0.0], atol=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_residual_is_the_angle_left_after_the_flexion_is_taken_out(seed):
    rng = np.random.default_rng(seed)
    axis = unit(rng.normal(size=3))
    rotation = Rotation.random(20, rng=rng)
    theta = flexion.project_flexion(as_wxyz(rotation), axis)
    left = Rotation.from_rotvec(np.radians(theta)[:, None] * axis).inv() * rotation
    assert_allclose(
        flexion.residual_angle(as_wxyz(rotation), axis), np.degrees(left.magnitude()), atol=1e-9
    )


def hinge_pair(mount_p, mount_d, turn, *, seed=0, n=600):
    """Sensors askew on segments that flex about a fixed axis while the whole person moves."""
    time = np.arange(n) / 100
    angle = np.radians(np.where(time < 2, 0.0, 35 * (1 - np.cos(2 * np.pi * (time - 2) / 1.3))))
    axis = np.array([0.1, 0.97, -0.05]) / np.linalg.norm([0.1, 0.97, -0.05])
    sway = np.stack([0.2 * np.sin(time), 0.4 * np.sin(0.7 * time), 0.3 * time], axis=1)
    thigh = turn * Rotation.from_rotvec(sway)
    shank = thigh * Rotation.from_rotvec(angle[:, None] * axis)
    records = [
        OrientationRecording(as_wxyz(segment * mount), 0.0, 100.0, "invented")
        for segment, mount in ((thigh, mount_p), (shank, mount_d))
    ]
    return OrientationPair(*records), np.degrees(angle)


def measure(pair):
    relative = flexion.relative_orientation(pair)
    neutral = flexion.neutral_orientation(relative[:180])
    rotation = flexion.joint_rotation(relative, neutral)
    axis = flexion.functional_axis(flexion.relative_rate(relative, 100.0))
    axis, _ = flexion.settle_sign(axis, rotation)
    return flexion.project_flexion(rotation, np.array(axis.axis))


@pytest.mark.parametrize("seed", range(6))
def test_mounting_and_a_turn_of_the_person_leave_the_angle_unchanged(seed):
    mount_p, mount_d, turn = Rotation.random(3, rng=np.random.default_rng(seed))
    pair, truth = hinge_pair(mount_p, mount_d, turn)
    assert_allclose(measure(pair), truth, atol=1e-6)


def test_a_turn_of_the_proximal_sensor_after_standing_is_seen():
    """The invariance above is no accident: a mounting that slips does change the angle."""
    one = Rotation.identity()
    pair, truth = hinge_pair(one, one, one)
    slipped = pair.proximal.quaternion.copy()
    slipped[300:] = as_wxyz(
        Rotation.from_quat(slipped[300:], scalar_first=True) * Rotation.from_rotvec([0, 0.1, 0])
    )
    moved = OrientationPair(OrientationRecording(slipped, 0.0, 100.0, "invented"), pair.distal)
    assert np.abs(measure(moved) - truth)[300:].max() > 4


def test_gaps_stay_gaps():
    pair, truth = hinge_pair(*Rotation.random(3, rng=np.random.default_rng(1)))
    holed = pair.distal.quaternion.copy()
    holed[250:270] = np.nan
    angle = measure(
        OrientationPair(pair.proximal, OrientationRecording(holed, 0.0, 100.0, "invented"))
    )
    assert np.isnan(angle[250:270]).all()
    assert_allclose(np.delete(angle, range(250, 270)), np.delete(truth, range(250, 270)), atol=1e-6)


def test_neutral_is_scipys_mean_and_its_scatter_the_rms_angle():
    rng = np.random.default_rng(3)
    base = Rotation.random(rng=rng)
    scattered = base * Rotation.from_rotvec(np.radians(1.0) * rng.normal(size=(4000, 3)))
    neutral = flexion.neutral_orientation(as_wxyz(scattered))
    between = Rotation.from_quat(neutral.quaternion, scalar_first=True).inv() * scattered.mean()
    assert np.degrees(between.magnitude()) < 1e-6
    assert_allclose(neutral.scatter_deg, np.sqrt(3), rtol=0.03)  # 1° about each of three axes
    assert neutral.warnings == ()


def test_moving_while_standing_is_warned_about():
    sway = Rotation.from_rotvec(np.linspace(0, 0.3, 300)[:, None] * [1.0, 0, 0])
    (warning,) = flexion.neutral_orientation(as_wxyz(sway)).warnings
    assert "the person moved" in warning


@pytest.mark.parametrize(("n", "told"), [(80, True), (99, False), (100, False), (600, False)])
def test_a_standing_of_less_than_a_second_is_told_with_what_it_costs(n, told):
    still = flexion.neutral_orientation(as_wxyz(Rotation.identity(n)))
    found = flexion.short_standing(still, 100.0)
    assert len(found) == told  # 99: an interval of 1 s on sample times that miss both its ends
    if told:
        assert "neutral standing lasts 0.8 s only, below 1 s" in found[0]
        assert "0.1° to 0.9° (RMS) off the mean of a longer standing" in found[0]


@pytest.mark.parametrize("method", ["mean-rate", "principal-component"])
def test_axis_of_a_hinge_is_exact_and_counts_both_directions(method):
    axis = unit([0.2, -0.9, 0.3])
    rates = np.sin(np.linspace(0, 20, 500))[:, None] * axis
    found = flexion.functional_axis(rates, method)
    assert flexion.angle_between_axes(np.array(found.axis), axis) < 1e-9
    assert found.spread_deg < 1e-5


def test_axis_estimates_part_when_the_fast_part_turns_elsewhere():
    slow, fast = np.tile([1.0, 0, 0], (300, 1)), np.tile([0, 3.0, 0], (100, 1))
    rates = np.concatenate([slow, fast])
    mean = flexion.functional_axis(rates).axis
    principal = flexion.functional_axis(rates, "principal-component").axis
    # Closed form: the mean points along (300, ±300), the eigenvector along the fast part.
    assert_allclose(np.abs(mean), [np.sqrt(0.5), np.sqrt(0.5), 0], atol=1e-12)
    assert_allclose(np.abs(principal), [0, 1, 0], atol=1e-12)


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_the_larger_excursion_is_flexion(direction):
    truth = np.concatenate([np.linspace(0, 90, 200), np.linspace(90, -5, 200)])
    rotation = quaternions.about_axis(np.array([0, 1.0, 0]), np.radians(truth))
    guess = flexion.FunctionalAxis((0.0, direction, 0.0), "mean-rate", 0.0, 400)
    axis, warnings = flexion.settle_sign(guess, rotation)
    assert_allclose(flexion.project_flexion(rotation, np.array(axis.axis)), truth, atol=1e-9)
    assert warnings == ()


def test_an_undecided_direction_and_a_small_movement_are_warned_about():
    axis = flexion.FunctionalAxis((0.0, 1.0, 0.0), "mean-rate", 0.0, 400)
    wave = 25 * np.sin(np.linspace(0, 20, 400))
    truth = np.radians(np.where(wave > 0, wave, 0.7 * wave))
    _, warnings = flexion.settle_sign(axis, quaternions.about_axis(np.array([0, 1.0, 0]), truth))
    assert "spans 25°" in warnings[0]
    assert "to one side of neutral standing" in warnings[1]


def test_a_direction_that_cannot_be_told_is_refused():
    """As much to one side as to the other: the angle would be mirrored as likely as not."""
    axis = flexion.FunctionalAxis((0.0, 1.0, 0.0), "mean-rate", 0.0, 400)
    truth = np.radians(60 * np.sin(np.linspace(0, 20, 400)))
    with pytest.raises(AngleError, match=r"60° to one side .* and 60° .* may be mirrored"):
        flexion.settle_sign(axis, quaternions.about_axis(np.array([0, 1.0, 0]), truth))


def test_turns_do_not_vote_on_the_direction():
    """A person walks 20 s, turns round in 3 s and walks on: the turn alone is left out."""
    time = np.arange(4300) / 100
    heading = np.radians(180.0) * np.clip((time - 20) / 3, 0, 1)
    orientation = quaternions.about_axis(np.array([0, 0, 1.0]), heading)
    one = OrientationRecording(orientation, 0.0, 100.0, "invented")
    voting = flexion.straight(OrientationPair(one, one))
    assert voting[time < 19.0].all()
    assert voting[time > 24.0].all()
    assert not voting[(time > 20.5) & (time < 22.5)].any()
    short = OrientationRecording(orientation[1900:2400], 0.0, 100.0, "invented")
    assert flexion.straight(OrientationPair(short, short)).all()  # too little would be left


def test_refusals_say_what_is_needed():
    still = np.zeros((400, 3))
    with pytest.raises(AngleError, match="no flexion axis can be found"):
        flexion.functional_axis(still)
    with pytest.raises(ValueError, match="got 'median'"):
        flexion.functional_axis(still, "median")
    with pytest.raises(AngleError, match="no sample with both sensors"):
        flexion.neutral_orientation(np.full((5, 4), np.nan))
    axis = flexion.FunctionalAxis((0.0, 1.0, 0.0), "mean-rate", 0.0, 400)
    identity = np.tile([1.0, 0, 0, 0], (50, 1))
    with pytest.raises(AngleError, match=r"by 0\.0° only"):
        flexion.settle_sign(axis, identity)
    with pytest.raises(AngleError, match="no sample"):
        flexion.settle_sign(axis, identity * np.nan)
    with pytest.raises(ValueError, match="must share one clock"):
        flexion.relative_orientation(
            OrientationPair(
                OrientationRecording(identity, 0.0, 100.0, "a"),
                OrientationRecording(identity, 0.5, 100.0, "b"),
            )
        )
