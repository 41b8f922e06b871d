"""Several wearables and references on one simulated walk, and a study of them as files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle.signals.recording import AngleRecording, Array, Interval, SensorPair
from twinangle.simulate.demo_files import wearable_frame
from twinangle.simulate.instrument_signals import ReferenceErrors, SensorErrors
from twinangle.simulate.recorded import refer, wear
from twinangle.simulate.walk import SEGMENTS, WalkSettings, draw_body


@dataclass(frozen=True, slots=True)
class Device:
    """A wearable of its own errors, place and clock: ``t_device = t (1 + drift 1e-6) + shift``.

    t is the time of the walk, on which the references' lags count too.
    """

    shift_s: float = 0.0
    drift_ppm: float = 0.0
    rate_hz: float = 100.0
    soft_tissue_deg: float = 0.6
    errors: SensorErrors = field(default_factory=SensorErrors)

    def stamps(self, time_s: Array) -> Array:
        """Return the device's time stamps at times of the walk."""
        return np.asarray(time_s * (1 + self.drift_ppm * 1e-6) + self.shift_s)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A reference of its own errors and clock: ``t = t_reference (1 + drift 1e-6) + lag``."""

    lag_s: float = 0.0
    drift_ppm: float = 0.0
    rate_hz: float = 200.0
    errors: ReferenceErrors = field(default_factory=ReferenceErrors)


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """What several instruments recorded of one walk, each on its own clock, and the true angle."""

    sensors: Mapping[str, SensorPair]  # times from 0; `Device.stamps` puts them on its clock
    references: Mapping[str, AngleRecording]
    true_deg: AngleRecording  # on the time of the walk
    static: Interval
    functional: Interval
    walking: Interval


DEVICES: Mapping[str, Device] = {
    "strap": Device(),
    "sleeve": Device(
        shift_s=4.3,
        drift_ppm=-30.0,
        soft_tissue_deg=1.2,
        errors=SensorErrors(accelerometer_noise_m_s2=0.1),
    ),
}
REFERENCES: Mapping[str, Instrument] = {
    "goniometer": Instrument(lag_s=2.1, drift_ppm=20.0),
    "optical": Instrument(
        lag_s=-3.2, errors=ReferenceErrors(1.0, -0.4, noise_deg=0.3, slow_drift_deg=0.6)
    ),
}


def simulate_together(
    *,
    seed: int,
    settings: WalkSettings,
    devices: Mapping[str, Device] = DEVICES,
    references: Mapping[str, Instrument] = REFERENCES,
) -> Together:
    """Simulate one walk that several wearables and references record at once.

    Parameters
    ----------
    seed : int
        The walk, and each instrument by its place in the order, have generators of their own, so
        that one instrument more or less changes nothing of the others.
    settings : WalkSettings
        Of the walk; rate, errors and clocks are those of the instruments.
    devices, references : mapping
        By name.

    Returns
    -------
    Together
        What each instrument recorded, and the truth.
    """
    body = draw_body(settings, np.random.default_rng([seed, 0]))
    schedule = body.gait.schedule
    sensors, read = {}, {}
    for k, (name, device) in enumerate(devices.items()):
        chosen = replace(
            settings,
            rate_hz=device.rate_hz,
            soft_tissue_deg=device.soft_tissue_deg,
            sensor_errors=device.errors,
        )
        rng = np.random.default_rng([seed, 1, k])
        worn = wear(body, SEGMENTS, schedule.duration_s, chosen, rng)
        sensors[name] = worn.sensors
    for k, (name, instrument) in enumerate(references.items()):
        chosen = replace(
            settings,
            lag_s=instrument.lag_s,
            drift_ppm=instrument.drift_ppm,
            reference_rate_hz=instrument.rate_hz,
            reference_errors=instrument.errors,
        )
        rng = np.random.default_rng([seed, 2, k])
        read[name] = refer(body.gait.knee_deg, schedule.duration_s, chosen, rng)
    time_s = np.arange(0.0, schedule.duration_s, 0.01)
    true = AngleRecording(body.gait.knee_deg(time_s), 0.0, 100.0, "true knee flexion")
    return Together(sensors, read, true, schedule.standing, schedule.functional, schedule.steady)


def write_together_study(
    folder: Path,
    *,
    seed: int = 5,
    participants: int = 4,
    walk_s: float = 40.0,
    procedures: tuple[str, ...] = ("kalman-two-sensors", "kalman-forward"),
    devices: Mapping[str, Device] = DEVICES,
    references: Mapping[str, Instrument] = REFERENCES,
) -> Path:
    """Write an invented study of several wearables, and return its study file.

    Parameters
    ----------
    folder : Path
        Created where it is absent.
    seed, participants, walk_s
        As of the demo study.
    procedures : tuple of str
        Of every wearable.
    devices, references : mapping
        By name; without references the wearables are held against each other alone.

    Returns
    -------
    Path
        The study file.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for number in range(1, participants + 1):
        rng = np.random.default_rng([seed, number])
        settings = WalkSettings(
            walk_s=walk_s,
            stride_s=float(rng.uniform(1.02, 1.18)),
            swing_peak_deg=float(rng.uniform(54.0, 62.0)),
            straight_m=40.0,
        )
        trial = simulate_together(
            seed=1000 * seed + number, settings=settings, devices=devices, references=references
        )
        rows.append(_write_row(folder, f"P{number:02d}", trial, devices))
    pd.DataFrame(rows).to_csv(folder / "trials.csv", index=False, lineterminator="\n")
    text = _study_text(procedures, tuple(devices), tuple(references))
    (folder / "study.toml").write_text(text, encoding="utf-8", newline="\n")
    return folder / "study.toml"


def _write_row(
    folder: Path, code: str, trial: Together, devices: Mapping[str, Device]
) -> dict[str, object]:
    """Write one walk's files and return its row of the trials table."""
    row: dict[str, object] = {"participant": code, "condition": "indoor", "side": "left"}
    for name, pair in trial.sensors.items():
        device, file = devices[name], f"{code}_{name}.csv"
        frame = wearable_frame(pair)
        frame["time_s"] = np.round(device.stamps(pair.proximal.time_s), 6)
        frame.to_csv(folder / file, index=False, lineterminator="\n")
        start = f"wearable_{name}"
        row[start] = file
        parts = (("static", trial.static), ("functional", trial.functional), ("", trial.walking))
        for part, stretch in parts:
            ends = np.array([stretch.start_s, stretch.end_s])
            on_clock = device.stamps(ends + (0.0 if part else np.array([-2.0, 2.0])))
            for end, value in zip(("start_s", "end_s"), on_clock, strict=True):
                row["_".join(filter(None, (start, part, end)))] = round(float(value), 3)
    for name, angle in trial.references.items():
        row[f"reference_{name}"] = f"{code}_{name}.csv"
        columns = {"time_s": np.round(angle.time_s, 6), "knee_deg": np.round(angle.angle_deg, 3)}
        pd.DataFrame(columns).to_csv(folder / f"{code}_{name}.csv", index=False)
    return row


_HEAD = """\
# Invented data: computed by a simulation, no person was recorded.
[study]
title = "Several instruments on one knee (invented)"
joint = "knee"
trials = "trials.csv"
invented = true

"""
_WEARABLE = """\
[wearables.{name}]
kind = "inertial"
time = "time_s"
procedures = [{procedures}]
units = {{ accelerometer = "m/s^2", gyroscope = "rad/s", magnetometer = "uT" }}
[wearables.{name}.proximal]
accelerometer = ["thigh_acc_x", "thigh_acc_y", "thigh_acc_z"]
gyroscope     = ["thigh_gyr_x", "thigh_gyr_y", "thigh_gyr_z"]
magnetometer  = ["thigh_mag_x", "thigh_mag_y", "thigh_mag_z"]
[wearables.{name}.distal]
accelerometer = ["shank_acc_x", "shank_acc_y", "shank_acc_z"]
gyroscope     = ["shank_gyr_x", "shank_gyr_y", "shank_gyr_z"]
magnetometer  = ["shank_mag_x", "shank_mag_y", "shank_mag_z"]

"""
_REFERENCE = """\
[{place}]
kind = "angle"
time = "time_s"
angle = "knee_deg"

"""
_END = """\
[agreement]
acceptable_deg = 5.0
"""


def _study_text(
    procedures: tuple[str, ...], devices: tuple[str, ...], references: tuple[str, ...]
) -> str:
    quoted = ", ".join(f'"{name}"' for name in procedures)
    parts = [_WEARABLE.format(name=name, procedures=quoted) for name in devices]
    parts += [_REFERENCE.format(place=f"references.{name}") for name in references]
    return "".join((_HEAD, *parts, _END))
