"""Files of the invented study: the sensors' signals, and the truth beside them."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle.signals.recording import Interval, SensorPair
from twinangle.simulate.walk import SimulatedTrial


def wearable_frame(pair: SensorPair) -> pd.DataFrame:
    """Return two sensors' signals as the columns of a file."""
    columns = {"time_s": np.round(pair.proximal.time_s, 4)}
    for name, sensor in (("thigh", pair.proximal), ("shank", pair.distal)):
        signals = [("acc", sensor.accelerometer, 4), ("gyr", sensor.gyroscope, 5)]
        if sensor.magnetometer is not None:
            signals.append(("mag", sensor.magnetometer, 3))
        for short, values, digits in signals:
            for axis, letter in enumerate("xyz"):
                columns[f"{name}_{short}_{letter}"] = np.round(values[:, axis], digits)
    return pd.DataFrame(columns)


def write_truth(
    folder: Path, stem: str, trial: SimulatedTrial, gap: Interval | None, standing_deg: float | None
) -> None:
    """Write what is true of one trial: the knee's angle, and facts about clocks and cycles."""
    truth = trial.truth
    frame = pd.DataFrame(
        {"time_s": np.round(truth.knee.time_s, 4), "knee_deg": np.round(truth.knee.angle_deg, 4)}
    )
    write_frame(frame, folder / f"{stem}_knee.csv")
    facts = {
        "lag_s": _or_null(truth.lag_s),
        "drift_ppm": _or_null(truth.drift_ppm),
        "cycle_sd_deg": round(truth.cycle_sd_deg, 6),
        "straight_cycles": int(truth.cycle_straight.sum()),
        "initial_contact_s": truth.initial_contact_s.round(5).tolist(),
        "turns_s": [_bounds(turn) for turn in truth.turns],
        "walking_s": _bounds(truth.walking),
        "static_s": _bounds(trial.static),
        **({} if standing_deg is None else {"standing_deg": round(standing_deg, 6)}),
        "functional_s": _bounds(trial.functional),
        "rows_lost_s": None if gap is None else _bounds(gap),
        "mounting_thigh_wxyz": truth.mounting_proximal.round(8).tolist(),
        "mounting_shank_wxyz": truth.mounting_distal.round(8).tolist(),
    }
    write_text(folder / f"{stem}.json", json.dumps(facts, indent=1) + "\n")


def _bounds(interval: Interval) -> list[float]:
    return [round(interval.start_s, 5), round(interval.end_s, 5)]


def _or_null(value: float) -> float | None:
    return None if math.isnan(value) else value


def write_frame(frame: pd.DataFrame, path: Path) -> None:
    """Write a table as CSV, the same bytes on every system."""
    frame.to_csv(path, index=False, lineterminator="\n")


def write_text(path: Path, text: str) -> None:
    """Write a text as UTF-8, the same bytes on every system."""
    path.write_text(text, encoding="utf-8", newline="\n")
