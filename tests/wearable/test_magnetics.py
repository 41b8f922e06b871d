"""Magnetic disturbance: known disturbances, and a benchmark set with magnets."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from twinangle.errors import AngleError
from twinangle.signals.recording import InertialRecording, Interval
from twinangle.wearable.quality.magnetic_field import (
    _means_by,
    disturbance_and_error,
    magnetic_disturbance,
)

# Two of the trials; the others are looked for beside the repository.
BROAD = Path(__file__).resolve().parents[2] / "../shared/data/broad"
if not BROAD.is_dir():
    BROAD = Path(__file__).resolve().parents[2] / "reference_data/broad"


def test_clean_field_has_the_norm_and_dip_it_was_made_with(invented):
    result = magnetic_disturbance(invented.pair.distal)
    # The invented field is (0, 18, −44) µT east, north, up.
    assert result.norm == pytest.approx(np.hypot(18, 44), abs=0.1)
    assert result.dip_deg == pytest.approx(np.degrees(np.arctan2(44, 18)), abs=0.3)
    assert result.share < 0.001
    assert "0 % of samples" in result.summary()


def test_a_stronger_field_in_a_known_third_is_counted(invented):
    sensor = invented.pair.distal
    field = sensor.magnetometer.copy()
    field[4000:] *= 1.3
    result = magnetic_disturbance(
        replace(sensor, magnetometer=field), undisturbed=Interval(0.0, 39.0)
    )
    assert result.share == pytest.approx(1 / 3, abs=0.002)
    assert np.nanmean(result.norm_deviation[4000:]) == pytest.approx(0.3, abs=0.005)
    row = result.to_frame().iloc[0]
    assert row["disturbed_share"] == result.share
    by_time = result.by_time(10.0)
    np.testing.assert_allclose(by_time["disturbed_share"], [0, 0, 0, 0, 1, 1], atol=0.01)
    np.testing.assert_allclose(by_time["start_s"], [0, 10, 20, 30, 40, 50])


def test_a_turned_field_is_seen_by_its_dip_alone(invented):
    sensor = invented.pair.proximal
    given = magnetic_disturbance(sensor, norm=np.hypot(18, 44), dip_deg=50.0)
    assert given.share > 0.99  # the norm is right, the dip 18° off
    assert np.nanmax(np.abs(given.norm_deviation)) < 0.1


def test_spread_of_the_magnetic_heading_is_that_of_a_disturbance_without_direction(invented):
    """A disturbance of 2 µT (SD, each axis) turns a horizontal field of 18 µT by 2/18 rad."""
    sensor = invented.pair.distal
    clean = magnetic_disturbance(sensor)
    assert clean.heading_spread_deg < 2.0
    assert clean.warnings == ()
    noise = np.random.default_rng(1).normal(0.0, 2.0, sensor.magnetometer.shape)
    disturbed = magnetic_disturbance(replace(sensor, magnetometer=sensor.magnetometer + noise))
    assert disturbed.heading_spread_deg == pytest.approx(np.degrees(2 / 18), rel=0.05)
    assert "strays by about 6°; from 3° on" in disturbed.warnings[0]
    assert disturbed.to_frame().iloc[0]["heading_spread_deg"] == disturbed.heading_spread_deg


def test_gaps_count_for_neither_side(invented):
    sensor = invented.pair.distal
    field = sensor.magnetometer.copy()
    field[:1000] = np.nan
    result = magnetic_disturbance(replace(sensor, magnetometer=field))
    assert result.n_samples == 5000
    assert not result.disturbed[:1000].any()


def test_error_that_follows_the_field_correlates(invented):
    sensor = invented.pair.distal
    time = invented.time
    rise = np.clip((time - 20) / 30, 0, 1)
    result = magnetic_disturbance(
        replace(sensor, magnetometer=sensor.magnetometer * (1 + 0.5 * rise)[:, None]),
        undisturbed=Interval(0.0, 19.0),
    )
    rng = np.random.default_rng(0)
    sign = np.where(time % 2 < 1, 1.0, -1.0)
    related = disturbance_and_error(result, sign * (0.2 + 3 * rise) + 5.0)
    unrelated = disturbance_and_error(result, rng.normal(size=time.size))
    assert related.correlation > 0.8
    assert related.n_seconds == 60
    # Under independence ρ has SD 1/√(n − 1).
    assert abs(unrelated.correlation) < 4 / np.sqrt(59)
    assert "Spearman's ρ +" in related.summary()
    assert np.isnan(disturbance_and_error(result, np.full(time.size, np.nan)).correlation)
    with pytest.raises(ValueError, match="one value a sample"):
        disturbance_and_error(result, np.zeros(3))


def test_correlation_is_scipys_over_second_means(invented):
    result = magnetic_disturbance(invented.pair.distal)
    error = np.random.default_rng(1).normal(size=invented.time.size)
    deviation = np.hypot(result.norm_deviation / 0.1, result.dip_deviation_deg / 10)
    seconds = [
        (deviation[k : k + 100].mean(), np.abs(error - error.mean())[k : k + 100].mean())
        for k in range(0, 6000, 100)
    ]
    expected = stats.spearmanr(*np.transpose(seconds)).statistic
    assert disturbance_and_error(result, error).correlation == pytest.approx(expected)


def test_refusals(invented):
    with pytest.raises(AngleError, match="no magnetometer"):
        magnetic_disturbance(invented.pair.distal.without_magnetometer())
    empty = replace(invented.pair.distal, magnetometer=np.full((6000, 3), np.nan))
    with pytest.raises(AngleError, match="no magnetometer reading"):
        magnetic_disturbance(empty)


def test_open_set_with_magnets():
    """Laidig et al. (2021), Data 6:72: the trials named disturbed are, the others are not."""
    shares = {}
    for path in sorted(BROAD.glob("*.npz")):
        data = np.load(path)
        signals = (data[name][::4].astype(float) for name in ("imu_acc", "imu_gyr", "imu_mag"))
        sensor = InertialRecording(*signals, 0.0, 71.4285, "broad")
        shares[path.stem] = magnetic_disturbance(sensor).share
    disturbed = {name: share for name, share in shares.items() if "_disturbed_" in name}
    others = {name: share for name, share in shares.items() if "_undisturbed_" in name}
    assert set(shares) == set(disturbed) | set(others)
    assert min(disturbed.values()) > 0.03
    assert max(others.values()) < 0.03


def test_seconds_have_the_means_that_pandas_gives_them():
    rng = np.random.default_rng(8)
    key, values = np.sort(rng.integers(0, 9, 400)) * 0.5, rng.normal(size=(400, 2))
    starts, means = _means_by(key, values)
    expected = pd.DataFrame(values).groupby(key).mean()
    np.testing.assert_array_equal(starts, expected.index)
    np.testing.assert_allclose(means, expected, rtol=1e-14, atol=1e-16)
