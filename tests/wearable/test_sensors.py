"""Channels to sensors: units, and what the numbers make impossible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.errors import RecordingError
from twinangle.signals.recording import Recording
from twinangle.study import InertialWearable, OrientationWearable
from twinangle.wearable.sensor_pair import build_orientation_pair, build_sensor_pair
from twinangle.wearable.signal_units import STANDARD_GRAVITY
from twinangle.wearable.unit_checks import sensor_warnings, zero_row_warnings

AXES = "xyz"


def settings(*, with_magnetometer=True, **units) -> InertialWearable:
    def sensor(name):
        found = {
            "accelerometer": tuple(f"{name}_acc_{axis}" for axis in AXES),
            "gyroscope": tuple(f"{name}_gyr_{axis}" for axis in AXES),
        }
        if with_magnetometer:
            found["magnetometer"] = tuple(f"{name}_mag_{axis}" for axis in AXES)
        return found

    declared = {"accelerometer": "m/s^2", "gyroscope": "rad/s", "magnetometer": "uT"} | units
    return InertialWearable.model_validate(
        {"kind": "inertial", "proximal": sensor("thigh"), "distal": sensor("shank"),
         "units": declared, "gyroscope_sample": "interval-mean"}
    )  # fmt: skip


def recording(acc=1.0, gyr=1.0, mag=1.0, *, still=False, units=None, n=400) -> Recording:
    """Return an invented walk in SI units times the given factors."""
    rng = np.random.default_rng(7)
    time = np.arange(n) / 100
    columns, names = [], []
    for name, phase in (("thigh", 0.0), ("shank", 1.0)):
        swing = (0.005 if still else 3.0) * np.sin(6 * time + phase)
        columns.append(acc * rng.normal([0.5, 9.7, 1.0], 0.3, (n, 3)))
        columns.append(gyr * (np.outer(swing, [0.1, 0.2, 1.0]) + rng.normal(0, 0.001, (n, 3))))
        columns.append(mag * rng.normal([20.0, 0.0, -45.0], 0.3, (n, 3)))
        names += [f"{name}_{kind}_{axis}" for kind in ("acc", "gyr", "mag") for axis in AXES]
    return Recording(
        time, np.hstack(columns), tuple(names), tuple(units or [""] * 18), "walk.csv"
    )  # fmt: skip


def test_units_are_converted_as_declared():
    wanted = build_sensor_pair(recording(), settings())
    raw = recording(1 / STANDARD_GRAVITY, 180 / np.pi, 0.01)

    pair = build_sensor_pair(
        raw, settings(accelerometer="g", gyroscope="deg/s", magnetometer="gauss")
    )

    for ours, theirs in ((pair.proximal, wanted.proximal), (pair.distal, wanted.distal)):
        assert_allclose(ours.accelerometer, theirs.accelerometer)
        assert_allclose(ours.gyroscope, theirs.gyroscope)
        assert_allclose(ours.magnetometer, theirs.magnetometer)
    assert pair.distal.gyroscope_sample == "interval-mean"
    assert (pair.distal.rate_hz, pair.distal.start_s) == (100.0, 0.0)
    assert sensor_warnings(pair) == ()


def test_thousandths_of_g_are_a_unit():
    """A logger's mg was told to be corrected to m/s^2 or g, which it is neither of."""
    wanted = build_sensor_pair(recording(), settings())
    pair = build_sensor_pair(recording(1000 / STANDARD_GRAVITY), settings(accelerometer="mg"))
    assert_allclose(pair.distal.accelerometer, wanted.distal.accelerometer)


def test_units_of_the_file_serve_where_the_study_declares_none():
    units = (["g"] * 3 + ["°/s"] * 3 + ["µT"] * 3) * 2
    raw = recording(1 / STANDARD_GRAVITY, 180 / np.pi, units=units)
    none = settings(accelerometer=None, gyroscope=None, magnetometer=None)

    pair = build_sensor_pair(raw, none)

    assert np.median(np.linalg.norm(pair.distal.accelerometer, axis=1)) == pytest.approx(9.8, 0.02)
    with pytest.raises(RecordingError, match="they must agree"):
        build_sensor_pair(raw, settings())


def test_a_unit_declared_nowhere_is_asked_for():
    with pytest.raises(RecordingError, match=r"\[wearable\.units\] gyroscope`, one of 'rad/s'"):
        build_sensor_pair(recording(), settings(gyroscope=None))


@pytest.mark.parametrize(
    ("raw", "units", "parts"),
    [
        ({"acc": 1 / 9.80665}, {}, ["looks like 'g'", "[wearable.units] accelerometer", "thigh"]),
        ({}, {"accelerometer": "g"}, ["looks like 'm/s^2'", "95.7 m/s²"]),
        ({"acc": 102.0}, {}, ["looks like 'mg'", '"m/s^2", "g" or "mg"']),
        ({"acc": 4.0}, {}, ["looks like none of"]),
        ({"gyr": 57.3}, {}, ["look like 'deg/s'", "[wearable.units] gyroscope"]),
        ({}, {"gyroscope": "deg/s"}, ["look like 'rad/s'", "never exceed"]),
        ({"gyr": 1e5}, {"gyroscope": "deg/s"}, ["faster than people move"]),
        ({"n": 9}, {}, ["holds 9 samples"]),
    ],
)
def test_a_unit_that_cannot_be_right_is_named_with_its_key(raw, units, parts):
    with pytest.raises(RecordingError) as caught:
        build_sensor_pair(recording(**raw), settings(**units))

    assert str(caught.value).startswith("walk.csv: ")
    for part in parts:
        assert part in str(caught.value)


def test_standing_still_is_no_fault_in_a_file_of_standing():
    still = recording(gyr=180 / np.pi, still=True)

    build_sensor_pair(still, settings(gyroscope="deg/s"), moving=False)
    with pytest.raises(RecordingError, match="slower than a joint in movement"):
        build_sensor_pair(still, settings(gyroscope="deg/s"))


@pytest.mark.parametrize(("value", "part"), [(0.0, "same value"), (np.nan, "no value at all")])
def test_a_dead_channel_is_named(value, part):
    raw = recording()
    values = raw.values.copy()
    values[:, raw.channels.index("shank_gyr_y")] = value

    with pytest.raises(
        RecordingError, match=f"'shank_gyr_y' holds {part.replace('same', 'the same')}"
    ):
        build_sensor_pair(
            Recording(raw.time_s, values, raw.channels, raw.units, raw.source), settings()
        )


def test_a_sample_that_lacks_an_axis_lacks_the_instrument_only():
    raw = recording()
    values = raw.values.copy()
    values[10, raw.channels.index("thigh_acc_y")] = np.nan

    pair = build_sensor_pair(
        Recording(raw.time_s, values, raw.channels, raw.units, raw.source), settings()
    )

    assert np.isnan(pair.proximal.accelerometer[10]).all()
    whole = build_sensor_pair(raw, settings())
    np.testing.assert_array_equal(pair.proximal.gyroscope, whole.proximal.gyroscope)
    np.testing.assert_array_equal(pair.distal.accelerometer, whole.distal.accelerometer)


def test_the_magnetometer_may_be_left_out():
    pair = build_sensor_pair(recording(), settings(with_magnetometer=False))

    assert pair.proximal.magnetometer is None
    assert sensor_warnings(pair) == ()


@pytest.mark.parametrize(
    ("factor", "part"), [(0.01, '"gauss"'), (1 / 49.2, '"normalised"'), (3.0, "148 µT, outside")]
)
def test_an_odd_magnetic_norm_is_told(factor, part):
    pair = build_sensor_pair(recording(mag=factor), settings())

    warnings = sensor_warnings(pair)

    assert len(warnings) == 2
    assert part in warnings[0]
    assert sensor_warnings(pair, magnetometer_unit="normalised") == ()


def orientation_recording(scale=1.0, still=False) -> Recording:
    angle = np.zeros(50) if still else np.linspace(0, 1, 50)
    quaternion = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle, 0 * angle])
    names = tuple(f"{segment}_{axis}" for segment in ("thigh", "shank") for axis in "wxyz")
    return Recording(
        np.arange(50) / 50, scale * np.hstack([quaternion, quaternion]), names, ("",) * 8, "q.csv"
    )


ORIENTATION = OrientationWearable.model_validate(
    {
        "kind": "orientation",
        "proximal": {"quaternion": ("thigh_w", "thigh_x", "thigh_y", "thigh_z")},
        "distal": {"quaternion": ("shank_w", "shank_x", "shank_y", "shank_z")},
    }
)


def test_rounded_quaternions_are_brought_to_unit_length():
    pair = build_orientation_pair(orientation_recording(1.004), ORIENTATION)

    assert_allclose(np.linalg.norm(pair.distal.quaternion, axis=1), 1, rtol=1e-12)


@pytest.mark.parametrize(
    ("asked", "part"), [({"scale": 0.5}, "of length 0.5"), ({"still": True}, "never changes")]
)
def test_orientations_that_cannot_be_are_refused(asked, part):
    with pytest.raises(RecordingError, match=part):
        build_orientation_pair(orientation_recording(**asked), ORIENTATION)


def test_packets_written_as_zeros_are_gaps_and_told_of():
    raw = recording()
    values = raw.values.copy()
    values[[50, 51, 200], 9:] = 0.0  # every channel of the shank
    lost = replace(raw, values=values)
    pair = build_sensor_pair(lost, settings())
    sound = build_sensor_pair(raw, settings())

    rows = np.flatnonzero(np.isnan(pair.distal.accelerometer).any(axis=1))
    assert rows.tolist() == [50, 51, 200]
    assert np.isnan(pair.distal.gyroscope[rows]).all()
    assert np.isnan(pair.distal.magnetometer[rows]).all()
    assert_allclose(pair.proximal.accelerometer, sound.proximal.accelerometer)
    (told,) = zero_row_warnings(lost, settings())
    assert "3 sample(s) are exactly 0 on all three axes of the distal accelerometer" in told
    assert zero_row_warnings(raw, settings()) == ()
