"""Invented walks as ready-made angles, for pages: short to analyse, with a known lag."""

from __future__ import annotations

from pathlib import Path

import numpy as np

STUDY = """\
[study]
title = "Invented walks"
joint = "knee"
trials = "trials.csv"
invented = true
[wearable]
kind = "angle"
time = "t"
angle = "knee"
[reference]
kind = "angle"
time = "t"
angle = "knee"
[synchronisation]
max_lag_s = 5.0
drift = false
[cycles]
method = "angle-peak"
"""
LAG_S = 1.5
STAND_S = 4.0


def knee(phase):
    """A stylised knee in walking, degrees over the phase of the cycle."""
    return (
        3
        + 14 * np.exp(-((phase % 1 - 0.14) ** 2) / (2 * 0.06**2))
        + 59 * np.exp(-((phase % 1 - 0.72) ** 2) / (2 * 0.09**2))
    )


def walk(rng: np.random.Generator, seconds: float, *, alike: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return times and a knee angle; strides are all `alike` or vary as people's do."""
    time = np.arange(0, seconds, 0.02)
    n = int(seconds) + 8
    spread = 0.0 if alike else 0.03
    starts = STAND_S + np.concatenate([[0.0], np.cumsum(1.1 * (1 + spread * rng.normal(size=n)))])
    phase = np.interp(time, starts, np.arange(n + 1.0))
    size = np.interp(phase, np.arange(n + 1.0), 1 + spread * rng.normal(size=n + 1))
    still = (time < STAND_S) & (not alike)
    return time, np.where(still, 3.0, size * knee(phase if not alike else time / 1.1))


def write_walks(folder: Path, *, seconds: float = 34.0, recordings: int = 4) -> Path:
    """Write a study; in the first recording it cannot be told which stride is which.

    Each second recording is outdoors, without a reference. One sample of the third recording's
    reference is missing for 0.3 s.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rows = ["participant,condition,wearable,reference,start_s,end_s"]
    for k in range(recordings):
        rng = np.random.default_rng(k)
        time, true = walk(rng, seconds, alike=k == 0)
        wearable = true + 1.5 + 0.02 * true + rng.normal(0, 0.3, time.size)
        reference = true + rng.normal(0, 0.3, time.size)
        if k == 2:
            reference[1000:1015] = np.nan
        outdoor = k % 2 == 1
        for role, start, values in (("w", LAG_S, wearable), ("r", 0.0, reference)):
            lines = [f"{t + start:.3f},{v:.3f}" for t, v in zip(time, values, strict=True)]
            text = "\n".join(["t,knee", *lines, ""]).replace(",nan", ",")
            if role == "w" or not outdoor:
                (folder / f"{role}{k}.csv").write_text(text)
        end = seconds + LAG_S - 1
        name = f"P{k // 2 + 1:02d},{'outdoor' if outdoor else 'indoor'}"
        rows.append(f"{name},w{k}.csv,{'' if outdoor else f'r{k}.csv'},2.0,{end}")
    (folder / "trials.csv").write_text("\n".join([*rows, ""]))
    (folder / "study.toml").write_text(STUDY)
    return folder / "study.toml"


SHIFTS_S = {"strap": LAG_S, "sleeve": 4.3}
STARTED_LATE_S = 9.0
PAIRS = """\
[study]
title = "Strap and sleeve (invented)"
joint = "knee"
trials = "trials.csv"
invented = true
[wearables.strap]
kind = "angle"
time = "t"
angle = "knee"
[wearables.sleeve]
kind = "angle"
time = "t"
angle = "knee"
[wearables.sleeve.synchronisation]
expected_lag_s = 4.0
max_lag_s = 12.0
[references.goniometer]
kind = "angle"
time = "t"
angle = "knee"
[references.optical]
kind = "angle"
time = "t"
angle = "knee"
[synchronisation]
max_lag_s = 5.0
drift = false
[cycles]
method = "angle-peak"
"""


def write_pairs(folder: Path, *, seconds: float = 24.0) -> Path:
    """Write a study of two wearables and two references, a recording indoors and one outdoors.

    The optical system began late: for the strap alone that is beyond the lags that are allowed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    of = [f"wearable_{name}" for name in SHIFTS_S]
    ends = [f"{name}_{end}" for name in of for end in ("start_s", "end_s")]
    references = ("reference_goniometer", "reference_optical")
    rows = [",".join(["participant", "condition", *of, *references, *ends])]
    for k, condition in enumerate(("indoor", "outdoor")):
        rng = np.random.default_rng(k)
        time, true = walk(rng, seconds, alike=False)
        files = [(f"{name}{k}.csv", shift) for name, shift in SHIFTS_S.items()]
        seen = [("goniometer0.csv", 0.0), ("optical0.csv", -STARTED_LATE_S)] if k == 0 else []
        for place, (file, start) in enumerate([*files, *seen]):
            values = true + place + rng.normal(0, 0.3, time.size)
            lines = [f"{t + start:.3f},{v:.3f}" for t, v in zip(time, values, strict=True)]
            (folder / file).write_text("\n".join(["t,knee", *lines, ""]))
        times = [f"{at + shift}" for shift in SHIFTS_S.values() for at in (2.0, seconds - 1)]
        cells = [file for file, _ in (*files, *seen)] + [""] * (2 - len(seen))
        rows.append(",".join(["P01", condition, *cells, *times]))
    (folder / "trials.csv").write_text("\n".join([*rows, ""]))
    (folder / "study.toml").write_text(PAIRS)
    return folder / "study.toml"
