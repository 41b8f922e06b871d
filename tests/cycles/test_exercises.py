"""Repetitions that are no walking: elbow curls, squats, seated extensions (all invented)."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.analysis.trial import analyse_trial
from twinangle.cycles import find_cycles
from twinangle.cycles.events import flexion_peaks
from twinangle.errors import CycleError
from twinangle.signals.recording import Interval, PairedAngles
from twinangle.simulate import simulate_exercise
from twinangle.study import read_study

STUDY = """
[study]
title = "Invented curls"
joint = "elbow"
trials = "trials.csv"
invented = true
[wearable]
kind = "inertial"
time = "time_s"
procedures = ["vqf"]
[wearable.proximal]
accelerometer = ["u_acc_x", "u_acc_y", "u_acc_z"]
gyroscope = ["u_gyr_x", "u_gyr_y", "u_gyr_z"]
magnetometer = ["u_mag_x", "u_mag_y", "u_mag_z"]
[wearable.distal]
accelerometer = ["f_acc_x", "f_acc_y", "f_acc_z"]
gyroscope = ["f_gyr_x", "f_gyr_y", "f_gyr_z"]
magnetometer = ["f_mag_x", "f_mag_y", "f_mag_z"]
[wearable.units]
accelerometer = "m/s^2"
gyroscope = "rad/s"
magnetometer = "uT"
[reference]
kind = "angle"
time = "time_s"
angle = "elbow_deg"
unit = "deg"
"""


def write_recording(folder, exercise, name="one"):
    columns = {"time_s": exercise.sensors.proximal.time_s}
    for short, sensor in (("u", exercise.sensors.proximal), ("f", exercise.sensors.distal)):
        for kind, values in (
            ("acc", sensor.accelerometer),
            ("gyr", sensor.gyroscope),
            ("mag", sensor.magnetometer),
        ):
            columns |= {f"{short}_{kind}_{axis}": values[:, k] for k, axis in enumerate("xyz")}
    pd.DataFrame(columns).to_csv(folder / f"{name}_w.csv", index=False, float_format="%.5f")
    pd.DataFrame(
        {"time_s": exercise.reference.time_s, "elbow_deg": exercise.reference.angle_deg}
    ).to_csv(folder / f"{name}_r.csv", index=False, float_format="%.5f")
    return (
        f"P01,gym,{name}_w.csv,{name}_r.csv,{exercise.static.start_s},{exercise.static.end_s},"
        f"{exercise.functional.start_s},{exercise.functional.end_s}\n"
    )


HEAD = (
    "participant,condition,wearable,reference,static_start_s,static_end_s,"
    "functional_start_s,functional_end_s\n"
)


@pytest.fixture(scope="module")
def curls():
    return simulate_exercise(rng=np.random.default_rng(31), movement="curl", rate_hz=50.0)


@pytest.fixture(scope="module")
def curl_study(curls, tmp_path_factory):
    folder = tmp_path_factory.mktemp("curls")
    (folder / "trials.csv").write_text(HEAD + write_recording(folder, curls))
    (folder / "study.toml").write_text(STUDY)
    return folder


@pytest.fixture(scope="module")
def analysed(curl_study):
    study = read_study(curl_study)
    (result,) = analyse_trial(study, study.trials[0])
    return result


def test_elbow_defaults(curl_study):
    """Elbow repetitions are no walking: no foot's contact is looked for and no turn left out."""
    cycles = read_study(curl_study).cycles
    assert (cycles.method, cycles.movement, cycles.turns) == ("angle-peak", "exercise", False)
    assert not cycles.include_calibration


def test_curls_are_kept_and_calibration_is_not(curls, analysed):
    """Two sets of nine repetitions have eight cycles from peak to peak each."""
    assert analysed.status == "ok", analysed.reason
    cycles = analysed.cycles
    assert cycles.kept.sum() == 16
    left = [text for text in cycles.reason if text]
    assert len(left) == 5
    assert all("reaches into the functional movement" in text for text in left)
    assert analysed.agreement.rms_demeaned < 2.0
    assert_allclose(analysed.synchronisation.lag_s, curls.truth.lag_s, atol=0.01)


def test_spread_of_held_peaks(curls, analysed):
    """From peak to peak the true angle varies as both instruments say."""
    cycles, truth = analysed.cycles, curls.truth.angle
    along = np.linspace(0.0, 1.0, 101)
    times = cycles.start_s[:, None] + cycles.duration_s[:, None] * along
    true = np.interp(times[cycles.kept], truth.time_s, truth.angle_deg)
    sd = true.std(axis=0, ddof=1).mean()
    assert_allclose(analysed.variability.wearable.sd, sd, rtol=0.1)
    assert_allclose(analysed.variability.reference.sd, sd, rtol=0.1)
    # The middle of a held peak is where the repetition's own middle is, to 2 % of its duration.
    middle = 0.5 * (curls.truth.starts_s + curls.truth.ends_s)
    nearest = np.abs(cycles.start_s[cycles.kept][:, None] - middle).min(axis=1)
    assert nearest.max() < 0.06


@pytest.fixture(scope="module")
def turning(curls, analysed):
    """The curls' own angle, with the forearm's rate about the vertical as when it pronates."""
    truth = curls.truth
    angle = truth.angle.angle_deg
    paired = PairedAngles(
        wearable_deg=angle, reference_deg=angle, start_s=0.0, rate_hz=truth.angle.rate_hz
    )
    time = truth.angle.time_s
    inside = np.zeros(time.size)
    for k, (start, end) in enumerate(zip(truth.starts_s, truth.ends_s, strict=True)):
        inside[(time >= start) & (time < end)] = np.radians(40 + 30 * (k % 2)) / (end - start)
    calibration = (("functional movement", curls.functional), ("neutral standing", curls.static))
    return paired, inside, calibration


def test_pronation_is_no_turn(turning):
    paired, vertical, calibration = turning
    found = find_cycles(
        paired,
        method="angle-peak",
        movement="exercise",
        vertical_rate_rad_s=vertical,
        calibration=calibration,
    )
    assert found.kept.sum() == 16
    on_request = find_cycles(
        paired,
        method="angle-peak",
        movement="exercise",
        turns=True,
        vertical_rate_rad_s=vertical,
        calibration=calibration,
        overrides=[
            (30.0, "include", "to have three"),
            (33.0, "include", "x"),
            (36.0, "include", "y"),
        ],
    )
    assert any(text.startswith("turn:") for text in on_request.reason)
    assert any("left out as turns" in text for text in on_request.warnings)


def test_calibration_is_not_published_for_the_movement(turning):
    """As the movement were walking, curls are turns, and the calibration alone would be left."""
    paired, vertical, calibration = turning
    asked = {"method": "angle-peak", "vertical_rate_rad_s": vertical}
    published = find_cycles(paired, **asked)
    assert not any("longer than strides" in text for text in published.warnings)  # bends: 2.2 s
    bends = calibration[0][1]
    assert (published.start_s[published.kept] < bends.end_s).all()  # calibration bends only
    with pytest.raises(CycleError) as refusal:
        find_cycles(paired, calibration=calibration, **asked)
    told = str(refusal.value)
    assert '`movement = "exercise"` would keep 16' in told
    assert "`turns = false` would keep" in told


def test_failing_method_names_the_one_that_works(turning):
    paired, _, calibration = turning
    with pytest.raises(CycleError, match='`method = "angle-peak"` would keep'):
        find_cycles(
            paired,
            sagittal_rate_rad_s=np.full(paired.wearable_deg.size, 0.01)
            + 1e-3 * np.sin(np.arange(paired.wearable_deg.size)),
            calibration=calibration,
        )


def test_calibration_can_count(turning):
    """Where the functional movement is the movement under study, its cycles may count."""
    paired, _, calibration = turning
    whole = (("functional movement", Interval(5.0, float(paired.time_s[-1]))),)
    with pytest.raises(CycleError, match="`include_calibration = true` would keep"):
        find_cycles(paired, method="angle-peak", movement="exercise", calibration=whole)
    last = paired.time_s[-1]
    same = find_cycles(
        paired,
        method="angle-peak",
        movement="exercise",
        start_s=5.5,
        calibration=(("functional movement", Interval(5.0, float(last))),),
    )
    assert same.kept.sum() == 16
    assert any("is the functional movement itself" in text for text in same.warnings)
    plain = find_cycles(paired, method="angle-peak", movement="exercise")
    apart = find_cycles(paired, method="angle-peak", movement="exercise", calibration=calibration)
    assert_allclose(apart.start_s, plain.start_s, atol=1e-9)
    # What calibration says nothing about stays as it was, but for its bouts' numbers.
    assert (apart.kept[apart.bout > 0]).all()


def test_offset_moves_no_event(turning):
    paired, _, calibration = turning
    asked = {"method": "angle-peak", "movement": "exercise", "calibration": calibration}
    plain = find_cycles(paired, **asked)
    moved = find_cycles(replace(paired, wearable_deg=paired.wearable_deg + 12.5), **asked)
    assert_allclose(moved.start_s, plain.start_s, atol=1e-9)


@pytest.mark.parametrize("movement", ["squat", "seated-extension"])
def test_knee_exercises(movement):
    exercise = simulate_exercise(
        rng=np.random.default_rng(5), movement=movement, rate_hz=50.0, sets=1, repetitions=12
    )
    angle = exercise.truth.angle
    paired = PairedAngles(
        wearable_deg=angle.angle_deg, reference_deg=None, start_s=0.0, rate_hz=angle.rate_hz
    )
    found = find_cycles(
        paired,
        method="angle-peak",
        movement="exercise",
        calibration=(("functional movement", exercise.functional),),
    )
    assert found.kept.sum() >= 11
    as_walking = find_cycles(
        paired,
        method="angle-peak",
        turns=False,
        calibration=(("functional movement", exercise.functional),),
    )
    assert any("longer than strides of walking" in text for text in as_walking.warnings)
    assert not any("longer than strides" in text for text in found.warnings)
    assert_allclose(np.median(found.duration_s[found.kept]), 3.0, rtol=0.1)


def test_settings_that_contradict_each_other(curl_study):
    text = STUDY.replace('"elbow"', '"knee"') + '[cycles]\nmethod = "shank-gyroscope"\n'
    path = curl_study / "squats.toml"
    path.write_text(text + 'movement = "exercise"\n')
    with pytest.raises(Exception, match=r"foot's contact in walking.*'angle-peak' or 'events'"):
        read_study(path)
    path.write_text(text)
    assert read_study(path).cycles.turns
    path.write_text(text + "turns = false\ninclude_calibration = true\n")
    cycles = read_study(path).cycles
    assert (cycles.movement, cycles.turns, cycles.include_calibration) == ("walking", False, True)


def test_a_held_peak_is_in_the_middle_of_its_hold():
    """A tremor of a degree moves the largest sample about in a hold of a third of a second."""
    exercise = simulate_exercise(
        rng=np.random.default_rng(8), sets=1, repetitions=10, rate_hz=100.0, repetition_cv=0.0
    )
    truth, rate = exercise.truth, exercise.truth.angle.rate_hz
    shaken = truth.angle.angle_deg + np.sin(2 * np.pi * 3.3 * truth.angle.time_s)
    middle = 0.5 * (truth.starts_s + truth.ends_s)
    largest, held = (
        flexion_peaks(shaken, rate_hz=rate, held=how)[0][-10:] - middle for how in (False, True)
    )
    assert np.abs(largest).max() > 0.05
    assert np.abs(held).max() < 0.02
