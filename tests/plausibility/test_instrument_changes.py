"""Instruments that change during a recording, or whose range, scale or delay is wrong: named.

Limits come from `benchmarks/instrument_changes.py`. What the physics demands is checked beside
them: a scale comes out as itself, lost time as itself at its place.
"""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.signal import butter, lfilter
from scipy.spatial.transform import Rotation

from twinangle.clocks import manual
from twinangle.plausibility.amplitude import gain, reference_amplitude
from twinangle.plausibility.bursts import reference_bursts
from twinangle.plausibility.channels import reference_cuts, saturated_channels
from twinangle.plausibility.common_time import common_time
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.fit import reference_fit
from twinangle.plausibility.lag_windows import lag_windows, largest_step
from twinangle.plausibility.mounting import mounting_steps, mountings, turned
from twinangle.plausibility.offset import reference_offset
from twinangle.plausibility.stood_still import quiet_standing, quietest
from twinangle.signals.recording import AngleRecording, InertialRecording, Interval, SensorPair
from twinangle.simulate import simulate_walk

TESTS = (
    saturated_channels,
    quiet_standing,
    mounting_steps,
    reference_fit,
    reference_amplitude,
    reference_offset,
    reference_bursts,
)


@pytest.fixture(scope="module")
def walked():
    return simulate_walk(
        rng=np.random.default_rng(5), walk_s=60.0, soft_tissue_deg=1.0, standing_s=6.0
    )


@pytest.fixture(scope="module")
def honest(walked):
    return Evidence(
        sensors=walked.sensors,
        reference=walked.reference,
        clock=manual(walked.truth.lag_s, walked.truth.drift_ppm),
        static=walked.static,
        functional=walked.functional,
    )


@pytest.fixture(scope="module")
def middle(walked):
    """A time amid the walk, on the wearable's clock."""
    walking = walked.truth.walking
    return round(0.5 * (walking.start_s + walking.end_s), 2)


def told(evidence, *tests, search=False):
    """Return what is refused or warned of, by test."""
    if evidence.sensors is not None and not search:  # the search for ceilings takes its time
        vars(evidence).setdefault("ceilings", ((), ()))
    found = (outcome for test in tests or TESTS for outcome in test(evidence))
    return {one.test: one for one in found if one.verdict in ("doubtful", "contradicted")}


def with_reference(evidence, change):
    angle = evidence.reference.angle_deg
    return replace(evidence, reference=replace(evidence.reference, angle_deg=change(angle.copy())))


def after(evidence, time_s):
    """Return the reference's first sample after a time of the wearable's clock."""
    reference = evidence.reference
    own_s = float(evidence.clock.to_reference(np.array(time_s)))
    return int((own_s - reference.start_s) * reference.rate_hz)


def without(values, first, count):
    return np.delete(values, slice(first, first + count), axis=0)


def changed(evidence, segment, change):
    sensor = getattr(evidence.sensors, segment)
    return replace(
        evidence, sensors=replace(evidence.sensors, **{segment: change(sensor)})
    )  # fmt: skip


def slipped(evidence, segment, time_s, turn_deg, axis):
    """Turn a sensor on its segment from a time on."""
    rotation = Rotation.from_rotvec(np.radians(turn_deg) * np.asarray(axis)).as_matrix()

    def change(sensor):
        first = int(time_s * sensor.rate_hz)
        parts = {}
        for name in ("accelerometer", "gyroscope", "magnetometer"):
            values = getattr(sensor, name).copy()
            values[first:] = values[first:] @ rotation.T
            parts[name] = values
        return replace(sensor, **parts)

    return changed(evidence, segment, change)


def test_an_honest_walk_is_consistent_in_all(honest):
    outcomes = [outcome for test in TESTS for outcome in test(honest)]
    assert [one for one in outcomes if one.verdict != "consistent"] == []
    assert len({one.test for one in outcomes}) == 12


def test_without_a_reference_or_signals_nothing_passes(honest):
    alone = replace(honest, reference=None, clock=None)
    bare = replace(honest, sensors=None)
    for test in (reference_fit, reference_amplitude, reference_offset, reference_bursts):
        for outcome in (*test(alone), *test(bare)):
            assert (outcome.verdict, bool(outcome.said)) == ("not tested", True)
    assert {one.verdict for one in (*quiet_standing(bare), *mounting_steps(bare))} == {"not tested"}


@pytest.mark.parametrize("lost_s", [0.1, 0.5])
@pytest.mark.parametrize("loser", ["wearable", "reference"])
def test_lost_samples_are_named_with_place_and_size(honest, middle, loser, lost_s):
    if loser == "reference":
        rate_hz, first = honest.reference.rate_hz, after(honest, middle)
        spoiled = with_reference(honest, lambda a: without(a, first, round(lost_s * rate_hz)))
    else:
        rate_hz = honest.sensors.distal.rate_hz
        first, count = round(middle * rate_hz), round(lost_s * rate_hz)

        def lose(sensor):
            names = ("accelerometer", "gyroscope", "magnetometer")
            return replace(
                sensor, **{name: without(getattr(sensor, name), first, count) for name in names}
            )

        pair = honest.sensors
        spoiled = replace(honest, sensors=SensorPair(lose(pair.proximal), lose(pair.distal)))
    found = told(spoiled)
    assert list(found) == ["lost samples"]  # and no other cause beside it
    assert found["lost samples"].verdict == "contradicted"
    assert found["lost samples"].value == pytest.approx(1e3 * lost_s, abs=3)
    assert f"when the {loser} lost" in found["lost samples"].said
    other = "wearable" if loser == "reference" else "reference"
    assert f"or when the {other} repeated some" in found["lost samples"].said
    assert f"Restore the {loser}" not in found["lost samples"].said  # nothing tells which it was
    common = common_time(spoiled)
    step = largest_step(common, lag_windows(common))
    assert step.time_s == pytest.approx(middle, abs=1.5)


def test_a_search_that_took_the_loss_for_drift_hides_none_of_it(honest, middle):
    """A line through the lags before and after a loss of 0.1 s, as a correlation draws it."""
    first, rate_hz = after(honest, middle), honest.reference.rate_hz
    spoiled = with_reference(honest, lambda a: without(a, first, round(0.1 * rate_hz)))
    drift_ppm = 2000.0
    at_first = first / rate_hz
    clock = manual(honest.clock.lag_s + 0.05 - 1e-6 * drift_ppm * at_first, drift_ppm)
    found = told(replace(spoiled, clock=replace(clock, method="cross-correlation")), reference_fit)
    assert found["lost samples"].value == pytest.approx(100.0, abs=5.0)
    near = float(re.search(r"near ([0-9.]+) s", found["lost samples"].said)[1])
    assert near == pytest.approx(middle, abs=1.5)


def test_two_recordings_in_one_file_are_named(honest, middle):
    other = simulate_walk(rng=np.random.default_rng(9), walk_s=60.0, standing_s=6.0).reference
    first = after(honest, middle)
    spoiled = with_reference(
        honest, lambda a: np.concatenate([a[:first], other.angle_deg[first : a.size]])
    )
    found = told(spoiled)
    assert list(found) == ["parts"]
    assert "spliced" in found["parts"].said


@pytest.mark.parametrize("level_deg", [30.0, 45.0, 60.0])
def test_a_saturated_reference_is_told_before_anything_else(honest, level_deg):
    spoiled = with_reference(honest, lambda a: np.minimum(a, level_deg))
    (cut,) = reference_cuts(spoiled.reference)
    assert cut.level_deg == pytest.approx(level_deg, abs=0.1)
    found = told(spoiled)
    assert next(iter(found)) == "channels"
    assert set(found) <= {"channels", "fit"}
    if "fit" in found:
        assert f"cut off at {level_deg:.1f}°" in found["fit"].said


def test_a_saturated_gyroscope_is_never_called_a_slip(honest):
    def cut(sensor):
        level = np.radians(150.0)
        return replace(sensor, gyroscope=np.clip(sensor.gyroscope, -level, level))

    pair = honest.sensors
    spoiled = replace(honest, sensors=SensorPair(cut(pair.proximal), cut(pair.distal)))
    found = told(spoiled, search=True)
    assert next(iter(found)) == "channels"
    assert set(found) <= {"channels", "fit"}


@pytest.mark.parametrize("factor", [0.8, 1.0, 1.2])
def test_the_gain_comes_out_as_itself(honest, factor):
    spoiled = with_reference(honest, lambda a: factor * a)
    common = common_time(spoiled)
    # The simulated soft tissue turns the sensors by up to 1° about the joint as well.
    assert gain(common, common.hinge) == pytest.approx(factor, rel=0.05)
    assert list(told(spoiled)) == ([] if factor == 1.0 else ["amplitude"])


def test_a_low_pass_while_recording_is_named_with_its_delay(honest):
    rate_hz = honest.reference.rate_hz
    b, a = butter(2, 3.0, fs=rate_hz)
    found = told(with_reference(honest, lambda angle: lfilter(b, a, angle)))
    assert set(found) == {"delay", "fast movement"}
    # Group delay of a second-order Butterworth filter at low frequencies: √2 / (2π f) = 75 ms.
    assert found["delay"].value == pytest.approx(75, abs=15)


def test_a_slip_of_the_reference_is_told_from_that_of_a_sensor(honest, middle):
    first = after(honest, middle)

    def slip(angle):
        angle[first:] += 10.0
        return angle

    found = told(with_reference(honest, slip))
    assert list(found) == ["offset step"]
    assert found["offset step"].subject == "reference"
    assert found["offset step"].value == pytest.approx(10.0, abs=1.0)
    assert f"near {middle:.0f} s" in found["offset step"].said


@pytest.mark.parametrize("segment", ["proximal", "distal"])
def test_the_sensor_that_slipped_is_named(honest, middle, segment):
    common = common_time(honest)
    axis = getattr(common.hinge, segment)
    found = told(slipped(honest, segment, middle, 15.0, axis))
    assert found["offset step"].subject == f"{segment} sensor"
    assert found["offset step"].value == pytest.approx(15.0, abs=1.5)
    assert found["mounting"].subject == f"{segment} sensor"
    alone = replace(
        slipped(honest, segment, middle, 15.0, [0.48, 0.6, 0.64]), reference=None, clock=None
    )
    (step,) = told(alone, mounting_steps).values()
    assert (step.verdict, step.subject) == ("doubtful", f"{segment} sensor")
    assert step.value == pytest.approx(15.0, abs=3.0)


def test_a_mounting_is_the_same_rotation_between_trials(honest):
    turn = Rotation.from_rotvec([0.3, -0.4, 0.2])

    def put_on_anew(sensor):
        return replace(
            sensor,
            accelerometer=sensor.accelerometer @ turn.as_matrix().T,
            gyroscope=sensor.gyroscope @ turn.as_matrix().T,
        )

    before = mountings(honest)
    anew = mountings(changed(honest, "distal", put_on_anew))
    assert turned(before[0], anew[0]) == pytest.approx(0.0, abs=0.1)
    assert turned(before[1], anew[1]) == pytest.approx(np.degrees(turn.magnitude()), abs=0.5)


@pytest.mark.parametrize("where", ["walking", "functional", "partly"])
def test_standing_taken_while_moving_is_refused_and_the_quietest_proposed(honest, middle, where):
    functional, static = honest.functional, honest.static
    moved = {
        "walking": Interval(middle, middle + 4),
        "functional": Interval(functional.start_s + 1, functional.start_s + 5),
        "partly": Interval(static.end_s - 3, static.end_s + 4),
    }[where]
    (outcome,) = quiet_standing(replace(honest, static=moved))
    assert outcome.verdict == "contradicted"
    assert ("overlaps with the functional movement" in outcome.said) == (where != "walking")
    assert ("throughout" in outcome.said) == (where != "partly")
    if where == "partly":
        begins = float(re.search(r"from ([0-9.]+) to", outcome.said)[1])
        assert static.end_s < begins < functional.start_s  # the thigh is raised before it
    part, speed = quietest(honest.sensors, 3.0)
    assert speed < 2.0
    assert "The quietest" in outcome.said
    standing = [(0.0, functional.start_s), (functional.end_s, honest.sensors.distal.time_s[-1])]
    assert any(low - 0.5 <= part.start_s and part.end_s <= high + 0.5 for low, high in standing)


def test_standing_is_proposed_from_beyond_the_part_that_is_analysed(honest, middle):
    def cut(sensor):
        first = int((middle - sensor.start_s) * sensor.rate_hz)
        rows = slice(first, first + int(8 * sensor.rate_hz))
        return InertialRecording(
            sensor.accelerometer[rows], sensor.gyroscope[rows], None, middle, sensor.rate_hz, "part"
        )

    part = SensorPair(cut(honest.sensors.proximal), cut(honest.sensors.distal))
    moved = replace(honest, sensors=part, static=Interval(middle, middle + 4))
    (alone,) = quiet_standing(moved)
    assert "no quiet stretch" in alone.said
    (whole,) = quiet_standing(replace(moved, whole=lambda: honest.sensors))
    start, end = re.search(r"are ([0-9.]+) to ([0-9.]+) s", whole.said).groups()
    assert float(end) <= honest.functional.start_s + 0.5 or float(start) >= middle + 8


def test_standing_of_a_file_of_its_own_is_judged_too(honest, middle):
    def cut(sensor, start_s):
        rows = slice(int(start_s * sensor.rate_hz), int((start_s + 4) * sensor.rate_hz))
        return InertialRecording(
            sensor.accelerometer[rows], sensor.gyroscope[rows], None, 0.0, sensor.rate_hz, "own"
        )

    for start_s, verdict in ((0.5, "consistent"), (middle, "contradicted")):
        pair = SensorPair(*(cut(one, start_s) for one in (honest.sensors.proximal,
                                                          honest.sensors.distal)))  # fmt: skip
        (outcome,) = quiet_standing(replace(honest, static=None, standing=pair))
        assert outcome.verdict == verdict


def test_a_forearm_that_turns_about_itself_is_never_refused(honest):
    """Pronation by ±80°: no one combination of six channels follows the elbow then."""
    sensor = honest.sensors.distal
    time_s = sensor.time_s
    turn = np.radians(80.0) * np.sin(0.5 * np.pi * time_s) * (time_s > honest.functional.end_s)
    long_axis = np.array([0.0, 0.0, 1.0])
    back = Rotation.from_rotvec(-turn[:, None] * long_axis)
    rate = np.gradient(turn, time_s)[:, None] * long_axis
    pronated = replace(
        sensor,
        accelerometer=back.apply(sensor.accelerometer.copy()),
        gyroscope=back.apply(sensor.gyroscope.copy()) + rate,
    )
    pair = replace(honest.sensors, distal=pronated)
    elbow = replace(honest, sensors=pair, joint="elbow")
    found = told(elbow, reference_fit, reference_amplitude, reference_offset, reference_bursts)
    assert all(one.verdict == "doubtful" and "forearm" in one.said for one in found.values())


def test_open_goniometers_are_not_saturated(data):
    """Sanchez et al. (2014), 22 walks; see PROVENANCE.md in the folder."""
    files = sorted((data / "goniometer-gait-22").glob("[hk]*.csv"))
    if not files:
        pytest.skip("../shared/data/goniometer-gait-22 is absent")
    for file in files:
        angle = pd.read_csv(file).iloc[:, 0].to_numpy(dtype=float)
        assert reference_cuts(AngleRecording(angle, 0.0, 1000.0, file.stem)) == ()


@pytest.mark.parametrize("name", ["ccw_fast_01", "cw_normal_01", "cw_slow_05"])
def test_open_walks_fit_their_optical_angle(data, name):
    """Camargo et al. (2021), J Biomech 119:110320 (from memory): sensors about 17 ms late."""
    folder = data / "walking-knee-optical"
    if not folder.is_dir():
        pytest.skip("../shared/data/walking-knee-optical is absent")
    imu = pd.read_csv(folder / f"{name}_imu.csv.gz")
    knee = pd.read_csv(folder / f"{name}_knee.csv.gz")
    start_s = float(imu["time_s"].iloc[0])

    def sensor(segment, sign):
        force, rate = (
            imu[[f"{segment}_{part}_{axis}" for axis in "xyz"]].to_numpy()
            for part in ("acc", "gyr")
        )
        return InertialRecording(sign * 9.80665 * force, rate, None, start_s, 200.0, segment)

    reference = AngleRecording(-knee["knee_angle_r"].to_numpy(), start_s, 200.0, name)
    evidence = Evidence(
        sensors=SensorPair(sensor("thigh", -1.0), sensor("shank", 1.0)),
        reference=reference,
        clock=manual(0.017),
    )
    tests = (reference_fit, reference_amplitude, reference_offset, reference_bursts)
    assert told(evidence, *tests) == {}
    fit = {one.test: one.value for one in reference_fit(evidence)}
    assert fit["fit"] > 0.99


@pytest.fixture
def data():
    from pathlib import Path

    return Path(__file__).resolve().parents[2] / "../shared/data"
