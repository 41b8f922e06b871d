"""Short gaps are bridged exactly where a cubic is exact; longer ones and the ends stay."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from scipy.spatial.transform import Rotation, Slerp

from twinangle.signals.gaps import BRIDGED_S, bridge, bridge_quaternions, bridge_sensor, short_gaps
from twinangle.signals.recording import InertialRecording

RATE_HZ = 100.0
LONGEST = 5  # samples


@given(
    coefficients=st.lists(st.floats(-2, 2), min_size=4, max_size=4),
    start=st.integers(6, 80),
    length=st.integers(1, LONGEST),
)
def test_a_cubic_is_restored(coefficients, start, length):
    """A cubic spline with not-a-knot ends is exact for cubics: de Boor (1978), from memory."""
    whole = np.polyval(coefficients, np.linspace(-1, 1, 100))
    holed = whole.copy()
    holed[start : start + length] = np.nan
    np.testing.assert_allclose(bridge(holed, RATE_HZ), whole, atol=1e-9)


@given(st.integers(LONGEST + 1, 30), st.integers(1, 60))
def test_a_longer_gap_stays_to_the_sample(length, start):
    holed = np.sin(np.arange(100) / 7.0)
    holed[start : start + length] = np.nan
    filled = bridge(holed, RATE_HZ)
    assert filled is holed


def test_gaps_at_the_ends_stay():
    holed = np.sin(np.arange(100) / 7.0)
    holed[:2] = holed[-2:] = np.nan
    assert bridge(holed, RATE_HZ) is holed


def test_a_sample_without_accelerometer_is_bridged_whole_and_the_magnetometer_left():
    rng = np.random.default_rng(0)
    smooth = np.cumsum(rng.normal(size=(200, 9)), axis=0)
    sensor = InertialRecording(
        smooth[:, :3].copy(), smooth[:, 3:6], smooth[:, 6:].copy(), 0.0, RATE_HZ, "sensor"
    )
    force, field = np.array(sensor.accelerometer), np.array(sensor.magnetometer)
    force[50:53, 1], field[50] = np.nan, np.nan
    found = bridge_sensor(replace(sensor, accelerometer=force, magnetometer=field))
    assert_array_equal(
        np.delete(found.accelerometer, [50, 51, 52], 0), np.delete(force, [50, 51, 52], 0)
    )
    # Within the reach of its steps of SD 1, and not the neighbours' value carried on.
    assert np.abs(found.accelerometer[50:53] - smooth[50:53, :3]).max() < 4
    assert np.ptp(found.accelerometer[49:54], axis=0).min() > 0
    assert np.isnan(found.magnetometer[50]).all()
    assert bridge_sensor(sensor) is sensor


def test_counts_are_those_of_what_is_filled():
    missing = np.zeros(200, dtype=bool)
    missing[:3] = missing[20] = missing[40:45] = missing[60:70] = True
    assert short_gaps(missing, RATE_HZ) == (6, 2)
    holed = np.where(missing, np.nan, 1.0)
    assert np.isnan(holed).sum() - np.isnan(bridge(holed, RATE_HZ)).sum() == 6
    assert BRIDGED_S * RATE_HZ == LONGEST


@pytest.mark.parametrize("flipped", [False, True])
def test_orientations_are_bridged_whatever_their_sign(flipped):
    """Against scipy's spherical interpolation of a steady turn, where it is exact."""
    time = np.arange(120) / RATE_HZ
    ends = Rotation.from_rotvec([[0.1, 0.2, 0.3], [1.2, -0.4, 0.9]])
    whole = Slerp([0.0, time[-1]], ends)(time).as_quat(scalar_first=True)
    if flipped:
        whole[::3] *= -1
    holed = whole.copy()
    holed[[30, 31, 32, 70]] = np.nan
    found = bridge_quaternions(holed, RATE_HZ)
    apart = Rotation.from_quat(found, scalar_first=True).inv() * Rotation.from_quat(
        whole, scalar_first=True
    )
    assert np.degrees(apart.magnitude()).max() < 1e-3
    seen = np.isfinite(holed[:, 0])
    np.testing.assert_array_equal(found[seen], holed[seen])
