"""An invented day of ten minutes as a ready-made angle: walking, with several references."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

RATE_HZ = 25.0
# start in s and strides of each bout; the fifth runs over the end of the first stretch (300 s)
BOUTS = ((20.0, 40), (90.0, 20), (130.0, 30), (200.0, 25), (285.0, 30), (420.0, 40), (520.0, 20))
LASTS_S = 600.0
STRIDE_S = 1.1
REFERENCE = {
    "none": None,
    "at first": (0.0, 125.0),
    "late": (85.0, 250.0),
    "with a gap": (0.0, 250.0),
    "where nobody walks": (235.0, 280.0),
}
GAP_S = (125.0, 180.0)


def knee(time_s: np.ndarray) -> np.ndarray:
    """Return an invented knee angle: swing and stance bumps of each stride, 5° between bouts."""
    rng, angle = np.random.default_rng(8), np.full(time_s.size, 5.0)
    for start_s, strides in BOUTS:
        lengths = STRIDE_S * (1 + 0.02 * rng.standard_normal(strides))
        for begin_s, length in zip(start_s + np.cumsum(lengths), lengths, strict=True):
            near = np.abs(time_s - begin_s) < 3 * length
            phase = (time_s[near] - begin_s) / length
            swing = 58 * np.exp(-0.5 * ((phase - 0.72) / 0.09) ** 2)
            stance = 14 * np.exp(-0.5 * ((phase - 0.14) / 0.06) ** 2)
            angle[near] += (1 + 0.02 * rng.standard_normal()) * (swing + stance)
    return angle


def write_day(folder: Path) -> Path:
    """Write a study of one invented day, a row for each reference; return the study file."""
    rng, time_s = np.random.default_rng(1), np.arange(0, LASTS_S, 1 / RATE_HZ)
    true = knee(time_s)
    wearable = true + 4.0 + rng.normal(0, 0.4, time_s.size)
    frame = pd.DataFrame({"time_s": time_s, "knee_deg": wearable})
    frame.to_csv(folder / "device.csv", index=False, float_format="%.3f")
    frame["knee_deg"] = true + rng.normal(0, 0.2, time_s.size)
    rows = []
    for name, ends in REFERENCE.items():
        row = {"condition": name, "wearable": "device.csv", "reference": ""}
        if ends is not None:
            there = frame[frame["time_s"].between(*ends)]
            if name == "with a gap":
                there = there[~there["time_s"].between(*GAP_S)]
            row["reference"] = f"{name.replace(' ', '_')}.csv"
            there.to_csv(folder / row["reference"], index=False, float_format="%.3f")
        rows.append({"participant": "P01", **row})
    pd.DataFrame(rows).to_csv(folder / "trials.csv", index=False)
    text = (
        '[study]\ntitle = "Invented day"\njoint = "knee"\ntrials = "trials.csv"\ninvented = true\n'
        '[wearable]\nkind = "angle"\ntime = "time_s"\nangle = "knee_deg"\n'
        '[reference]\nkind = "angle"\ntime = "time_s"\nangle = "knee_deg"\n'
        '[synchronisation]\nmethod = "shared-clock"\n'
        '[cycles]\nmethod = "angle-peak"\n[daily_life]\nstretch_min = 5\n'
    )
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder / "study.toml"
