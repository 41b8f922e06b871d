"""The joint centre fitted with whitened misfits: the filter itself, and what it is for."""

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt, welch

from twinangle.signals.recording import OrientationPair
from twinangle.simulate import simulate_walk
from twinangle.simulate.instrument_signals import SegmentSensor
from twinangle.wearable.heading.joint_centre import (
    SegmentTerms,
    find_joint_centre,
    liveliest,
    misfit_of,
    shared_terms,
)
from twinangle.wearable.heading.relative import joint_centre_heading
from twinangle.wearable.heading.whitening import find_whitened_joint_centre, no_whitening
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.quaternions import conjugate, multiply

RATE_HZ = 50.0


def invented_terms(seed, coloured, *, heading=0.7, n=3000):
    """Two views of one point, arms unseen but for their own accelerations, coloured misfit."""
    rng = np.random.default_rng(seed)
    time = np.arange(n) / RATE_HZ
    along = 3 * np.sin(2 * np.pi * 0.9 * time) + np.sin(2 * np.pi * 4.5 * time + 0.3)
    force = np.stack([along, 0.3 * np.sin(2 * np.pi * 0.45 * time), 9.81 + 0 * time], axis=1)
    smooth = butter(2, 6.0, fs=RATE_HZ, output="sos")
    levers = sosfiltfilt(smooth, rng.normal(size=(2, n, 3, 3)), axis=1)
    arms = rng.normal(scale=0.15, size=(2, 3))
    turn = np.array(
        [[np.cos(heading), -np.sin(heading), 0], [np.sin(heading), np.cos(heading), 0], [0, 0, 1]]
    )
    noise = 0.01 * rng.normal(size=(2, n, 3))
    noise[1, :, 1] += coloured * np.sin(2 * np.pi * 4.5 * time + 0.3)
    sample = 2 * np.arange(n)
    terms = []
    for side in range(2):
        view = force @ turn if side else force  # the distal earth frame is turned back
        shift = np.einsum("nij,j->ni", levers[side], arms[side])
        columns = np.concatenate([levers[side], (view + shift + noise[side])[:, :, None]], axis=2)
        terms.append(SegmentTerms(columns, sample))
    return terms, arms, heading


def test_a_repeating_misfit_no_longer_turns_the_heading():
    terms, arms, heading = invented_terms(0, coloured=0.5)
    plain = find_joint_centre(*terms)
    white, _ = find_whitened_joint_centre(*terms, 2 * RATE_HZ, plain)
    # By hand: a cross-axis line of 0.5 in phase with the 1.0 of 4.5 Hz, against 3² + 1² along,
    # turns plain least squares by 0.5/10 rad = 2.9°.
    assert abs(np.degrees(plain.heading_rad - heading)) > 1.5
    assert abs(np.degrees(white.heading_rad - heading)) < 0.4
    np.testing.assert_allclose(white.proximal_arm_m, arms[0], atol=0.01)
    np.testing.assert_allclose(white.distal_arm_m, arms[1], atol=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_with_white_misfits_both_fits_agree(seed):
    terms, arms, heading = invented_terms(seed, coloured=0.0)
    plain = find_joint_centre(*terms)
    white, _ = find_whitened_joint_centre(*terms, 2 * RATE_HZ, plain)
    for fit in (plain, white):
        assert abs(np.degrees(fit.heading_rad - heading)) < 0.1
        np.testing.assert_allclose(fit.distal_arm_m, arms[1], atol=0.003)


def test_the_filter_makes_a_coloured_misfit_white():
    """scipy.signal.welch as the judge of flatness."""
    terms, *_ = invented_terms(1, coloured=0.5)
    plain = find_joint_centre(*terms)
    centre, whitening = find_whitened_joint_centre(*terms, 2 * RATE_HZ, plain)
    arms = np.concatenate([centre.proximal_arm_m, centre.distal_arm_m])
    misfit = misfit_of(*terms, arms, centre.heading_rad)
    _, before = welch(misfit[:, :2], RATE_HZ, nperseg=200, axis=0)
    frequency, after = welch(
        whitening.apply(misfit, terms[0].sample)[:, :2], RATE_HZ, nperseg=200, axis=0
    )
    heard = (frequency > 1.5) & (frequency < 11)

    def uneven(power):
        level = power[heard].sum(axis=1)
        return level.max() / np.median(level)

    assert uneven(before) > 100
    assert uneven(after) < 10
    assert whitening.offset_gain < 0.02 * np.abs(whitening.horizontal).max() * RATE_HZ


def test_samples_that_are_missing_change_little_and_stay_missing():
    terms, _, heading = invented_terms(2, coloured=0.5)
    kept = np.ones(3000, dtype=bool)
    kept[1000:1040] = kept[2000:2200] = False
    holed = [SegmentTerms(one.columns[kept], one.sample[kept]) for one in terms]
    white, whitening = find_whitened_joint_centre(*holed, 2 * RATE_HZ, find_joint_centre(*holed))
    assert abs(np.degrees(white.heading_rad - heading)) < 0.5
    assert whitening.apply(holed[0].columns, holed[0].sample).shape == holed[0].columns.shape


def test_a_recording_too_short_for_a_spectrum_keeps_the_plain_fit():
    terms, *_ = invented_terms(3, coloured=0.5, n=400)
    plain = find_joint_centre(*terms)
    white, whitening = find_whitened_joint_centre(*terms, 2 * RATE_HZ, plain)
    assert white is plain
    values = np.random.default_rng(0).normal(size=(400, 3))
    np.testing.assert_allclose(whitening.apply(values, terms[0].sample), values)
    assert no_whitening(plain, 100.0).offset_gain == 1.0


def other_skin(body, time_s):
    """Skin that rings after each contact instead of following slow harmonics (invented)."""
    gait = body.gait
    share = gait.phase(time_s) % 1.0
    ring = np.exp(-share / 0.12) * np.sin(2 * np.pi * 7 * share) * np.clip(share / 0.02, 0, 1)
    slow = 0.8 * np.sin(2 * np.pi * share + 2.0) + 0.3 * np.sin(6 * np.pi * share)
    return gait.schedule.walking(time_s) * (slow + ring)


@pytest.mark.parametrize("seed", [32, 33])
@pytest.mark.parametrize("skin", ["harmonics", "ringing"])
def test_heading_under_moving_skin(monkeypatch, seed, skin):
    """Seeds and a kind of skin that no constant was chosen on."""
    if skin == "ringing":
        monkeypatch.setattr(
            SegmentSensor, "_skin_deg", lambda self, time_s: other_skin(self.body, time_s)
        )
    walk = simulate_walk(rng=np.random.default_rng(seed), walk_s=60.0, soft_tissue_deg=1.0)
    sensors, truth = walk.sensors, walk.truth.sensors
    oriented = OrientationPair(
        *(vqf_offline(one.without_magnetometer()) for one in (sensors.proximal, sensors.distal))
    )
    turned = joint_centre_heading(sensors, oriented).apply(oriented)

    def yaw(ours, theirs):
        error = multiply(ours.quaternion, conjugate(theirs.quaternion))
        return 2 * np.arctan2(error[:, 3], error[:, 0])

    error = yaw(turned.distal, truth.distal) - yaw(turned.proximal, truth.proximal)
    error = np.degrees((error + np.pi) % (2 * np.pi) - np.pi)
    assert np.sqrt(np.mean(error**2)) < 1.0

    both = (sensors.proximal, sensors.distal)
    terms = shared_terms(both, (oriented.proximal, oriented.distal), liveliest(*both))
    plain = find_joint_centre(*terms)
    white, _ = find_whitened_joint_centre(*terms, sensors.proximal.rate_hz, plain)
    assert white.residual_m_s2 < 2 * plain.residual_m_s2
