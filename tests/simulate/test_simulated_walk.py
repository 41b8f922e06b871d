"""What the simulated walk looks like: its gait, timetable, clocks, truth and repeatability."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.signal import find_peaks
from scipy.spatial.transform import Rotation

from twinangle.simulate import ReferenceErrors, SimulatedTrial, WalkSettings, simulate_walk
from twinangle.simulate.gait import stylised_knee_deg
from twinangle.simulate.schedule import plateau, smooth_step


def test_the_same_seed_gives_the_same_bytes() -> None:
    first, again, other = (
        simulate_walk(rng=np.random.default_rng(seed), walk_s=8.0) for seed in (1, 1, 2)
    )
    for which in ("proximal", "distal"):
        for channel in ("accelerometer", "gyroscope", "magnetometer"):
            a, b, c = (
                getattr(getattr(trial.sensors, which), channel) for trial in (first, again, other)
            )
            assert_array_equal(a, b)
            assert not np.array_equal(a, c)
    assert first.reference is not None
    assert again.reference is not None
    assert_array_equal(first.reference.angle_deg, again.reference.angle_deg)


def test_the_stylised_curve_costs_the_known_rms_per_delay() -> None:
    # Computed anchor for this curve at a stride of 1.1 s: 2 ms 0.350°, 5 ms 0.875°, 50 ms 8.594°.
    phase = np.linspace(0.0, 1.0, 2001)[:-1]
    for delay_s, expected in ((0.002, 0.350), (0.005, 0.875), (0.020, 3.489), (0.050, 8.594)):
        late = stylised_knee_deg(phase - delay_s / 1.1) - stylised_knee_deg(phase)
        assert np.sqrt(np.mean(late**2)) == pytest.approx(expected, abs=0.002)


def test_the_knee_has_its_stance_and_swing_peaks(usual_trial: SimulatedTrial) -> None:
    # Normal knee in walking: 15-20° at 12-15 % and 60-65° at 70-73 % of the cycle (from memory).
    mean = usual_trial.truth.straight_curves_deg.mean(axis=0)
    stance, swing = int(np.argmax(mean[:30])), int(np.argmax(mean))

    assert 12 <= stance <= 15
    assert 15 <= mean[stance] <= 20
    assert 70 <= swing <= 73
    assert 60 <= mean[swing] <= 65


def test_stride_times_vary_as_asked() -> None:
    trial = simulate_walk(
        rng=np.random.default_rng(3), walk_s=400.0, stride_s=1.05, stride_cv=0.025,
        straight_m=1000.0, rate_hz=20.0, with_reference=False,
    )  # fmt: skip
    stride_s = np.diff(trial.truth.initial_contact_s)

    assert stride_s.mean() == pytest.approx(1.05, rel=0.01)
    assert stride_s.std(ddof=1) / stride_s.mean() == pytest.approx(0.025, rel=0.15)


def test_initial_contact_is_where_the_shank_gyroscope_says(usual_trial: SimulatedTrial) -> None:
    # Aminian et al. (2002), J Biomech 35:689: the trough after the mid-swing peak marks initial
    # contact, about 10 ms late against foot switches.
    truth = usual_trial.truth
    mounting = Rotation.from_quat(truth.mounting_distal, scalar_first=True)
    sagittal = -mounting.apply(np.array(usual_trial.sensors.distal.gyroscope))[:, 1]
    swings, _ = find_peaks(sagittal, height=4.0, distance=60)
    late = []
    for start_s in truth.cycle_start_s[truth.cycle_straight]:
        swing = swings[swings < start_s * 100 + 1][-1]
        troughs, _ = find_peaks(-sagittal[swing : swing + 40], height=2.0)
        late.append((swing + troughs[0]) / 100 - start_s)

    assert 0.0 < np.mean(late) < 0.03
    assert np.std(late) < 0.01


def test_standing_is_neutral_and_the_functional_movement_flexes(
    usual_trial: SimulatedTrial,
) -> None:
    knee, time_s = usual_trial.truth.knee.angle_deg, usual_trial.truth.knee.time_s
    still, moving = usual_trial.static, usual_trial.functional
    flexing = knee[(time_s >= moving.start_s) & (time_s <= moving.end_s)]
    peaks, _ = find_peaks(flexing, height=60)

    assert_array_equal(knee[(time_s >= still.start_s) & (time_s <= still.end_s)], 0.0)
    assert peaks.size == 5
    assert flexing.max() == pytest.approx(70.0, abs=0.5)
    thigh = Rotation.from_quat(usual_trial.truth.segments.proximal.quaternion, scalar_first=True)
    held = thigh[(time_s >= moving.start_s) & (time_s <= moving.end_s)]
    assert np.degrees((held[0].inv() * held).magnitude()).max() < 4.0


def test_every_turn_is_half_a_circle_and_straights_are_straight(
    usual_trial: SimulatedTrial,
) -> None:
    truth = usual_trial.truth
    thigh = Rotation.from_quat(truth.segments.proximal.quaternion, scalar_first=True)
    heading = np.unwrap(thigh.as_euler("ZXY")[:, 0])
    assert len(truth.turns) >= 5
    for turn in truth.turns:
        # Half a stride either side averages the thigh's own yaw away.
        before, after = (
            heading[int(t * 100) : int(t * 100) + 110].mean()
            for t in (turn.start_s - 1.1, turn.end_s)
        )
        assert np.degrees(abs(after - before)) == pytest.approx(180.0, abs=2.0)
    for start_s, end_s in zip(
        truth.cycle_start_s[truth.cycle_straight], truth.cycle_end_s[truth.cycle_straight],
        strict=True,
    ):  # fmt: skip
        assert all(end_s <= turn.start_s or start_s >= turn.end_s for turn in truth.turns)
        assert truth.walking.start_s <= start_s < end_s <= truth.walking.end_s


def test_turns_left_in_would_inflate_the_spread_between_cycles(
    usual_trial: SimulatedTrial,
) -> None:
    truth = usual_trial.truth
    everything = truth.cycle_deg.std(axis=0, ddof=1).mean()

    assert truth.cycle_straight.sum() >= 25
    assert everything > 1.5 * truth.cycle_sd_deg


def test_true_curves_are_the_true_angle_between_contacts(usual_trial: SimulatedTrial) -> None:
    truth = usual_trial.truth
    at = truth.cycle_start_s[:, None] + np.linspace(0, 1, 101) * (
        truth.cycle_end_s - truth.cycle_start_s
    ).reshape(-1, 1)
    read = np.interp(at, truth.knee.time_s, truth.knee.angle_deg)

    assert_allclose(read, truth.cycle_deg, atol=0.15)  # linear interpolation at 10 ms


@pytest.mark.parametrize(("lag_s", "drift_ppm"), [(2.75, 35.0), (-6.4, -80.0)])
def test_the_reference_clock_obeys_the_sign_convention(lag_s: float, drift_ppm: float) -> None:
    trial = simulate_walk(
        rng=np.random.default_rng(5), walk_s=12.0, rate_hz=500.0, lag_s=lag_s,
        drift_ppm=drift_ppm, reference_errors=ReferenceErrors.none(),
    )  # fmt: skip
    reference, knee = trial.reference, trial.truth.knee
    assert reference is not None
    # the convention of recording.py: t_wearable = t_reference * (1 + drift_ppm * 1e-6) + lag_s
    wearable_s = reference.time_s * (1 + drift_ppm * 1e-6) + lag_s
    inside = (wearable_s >= 0) & (wearable_s <= knee.end_s)

    expected = np.interp(wearable_s[inside], knee.time_s, knee.angle_deg)
    assert_allclose(reference.angle_deg[inside], expected, atol=0.02)
    assert reference.start_s == 0.0
    assert inside.sum() > 0.8 * reference.angle_deg.size


def test_reference_errors_have_the_sizes_asked() -> None:
    errors = ReferenceErrors(gain=1.02, offset_deg=-1.5, noise_deg=0.2, slow_drift_deg=0.0)
    trial = simulate_walk(
        rng=np.random.default_rng(5), walk_s=30.0, lag_s=0.0, drift_ppm=0.0,
        reference_rate_hz=100.0, reference_errors=errors,
    )  # fmt: skip
    assert trial.reference is not None
    n = trial.truth.knee.angle_deg.size
    slope, offset = np.polyfit(trial.truth.knee.angle_deg, trial.reference.angle_deg[:n], 1)
    left = trial.reference.angle_deg[:n] - (1.02 * trial.truth.knee.angle_deg - 1.5)

    assert slope == pytest.approx(1.02, abs=0.001)
    assert offset == pytest.approx(-1.5, abs=0.02)
    assert left.std() == pytest.approx(0.2, rel=0.05)


def test_a_trial_without_a_reference_has_no_clock_to_find() -> None:
    trial = simulate_walk(rng=np.random.default_rng(5), walk_s=8.0, with_reference=False)

    assert trial.reference is None
    assert np.isnan([trial.truth.lag_s, trial.truth.drift_ppm]).all()


def test_the_right_leg_carries_its_sensors_on_the_other_side() -> None:
    for side in ("left", "right"):
        trial = simulate_walk(rng=np.random.default_rng(5), walk_s=8.0, side=side)
        assert trial.truth.knee.angle_deg.max() > 55.0


def test_the_smooth_step_is_the_minimum_jerk_movement() -> None:
    # Flash & Hogan (1985), J Neurosci 5:1688: peak speed 1.875 times the mean, at half time.
    u = np.linspace(-0.2, 1.2, 14001)
    speed = np.gradient(smooth_step(u), u)

    assert_allclose(smooth_step(np.array([-1.0, 0.0, 0.5, 1.0, 2.0])), [0, 0, 0.5, 1, 1])
    assert speed.max() == pytest.approx(1.875, abs=1e-4)
    assert u[np.argmax(speed)] == pytest.approx(0.5, abs=1e-3)
    assert speed.min() > -1e-9


def test_a_plateau_is_flat_inside_and_nothing_outside() -> None:
    time_s = np.array([0.9, 1.0, 2.0, 3.0, 4.0, 5.0, 5.1])
    assert_allclose(plateau(time_s, 1.0, 5.0, 1.0), [0, 0, 1, 1, 1, 0, 0])


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"walk_s": 3.0}, r"`walk_s` must last six strides \(6.6 s\) or more, got 3"),
        ({"standing_s": 2.0}, "`standing_s` must be above 2 s, got 2"),
        ({"rate_hz": -100.0}, "`rate_hz` must be above 0, got -100.0"),
        ({"speed_m_s": float("nan")}, "`speed_m_s` must be above 0, got nan"),
    ],
)
def test_settings_out_of_range_are_named(wrong: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        simulate_walk(rng=np.random.default_rng(1), **wrong)


def test_an_unknown_setting_is_refused() -> None:
    with pytest.raises(TypeError, match="walk_seconds"):
        simulate_walk(rng=np.random.default_rng(1), settings=WalkSettings(), walk_seconds=8.0)
