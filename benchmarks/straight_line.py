"""The baseline: one study analysed by a straight-line script of general-purpose libraries.

    python benchmarks/straight_line.py STUDY_FOLDER OUTPUT_FOLDER

It reads the trials of an invented study (``write_demo_study``) with pandas, estimates orientation
with vqf, synchronises and cuts cycles with scipy, draws three figures a trial with matplotlib and
pools with pingouin. No checks, no messages, no intervals: what a competent person writes for one
paper. ``whole_run.py`` runs it beside ``twinangle run``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pingouin as pg
from numpy.typing import NDArray
from scipy import signal, stats
from scipy.spatial.transform import Rotation
from vqf import offlineVQF

RATE_HZ = 100.0
Array = NDArray[np.float64]


def orientation(frame: pd.DataFrame, segment: str) -> Rotation:
    def three(kind: str) -> Array:
        columns = [f"{segment}_{kind}_{axis}" for axis in "xyz"]
        return np.ascontiguousarray(frame[columns].to_numpy())

    rate = three("gyr")
    rate[1:] = 0.5 * (rate[1:] + rate[:-1])
    filtered = offlineVQF(rate, three("acc"), three("mag"), 1.0 / RATE_HZ)
    return Rotation.from_quat(filtered["quat9D"], scalar_first=True)


def flexion(thigh: Rotation, shank: Rotation, time_s: Array, row: pd.Series) -> tuple[Array, Array]:
    """Return the knee angle in degrees and the flexion axis in the shank sensor's frame."""
    relative = thigh.inv() * shank
    standing = (time_s >= row.static_start_s) & (time_s <= row.static_end_s)
    moving = (time_s >= row.functional_start_s) & (time_s <= row.functional_end_s)
    joint = relative[standing].mean().inv() * relative
    steps = (joint[moving][:-1].inv() * joint[moving][1:]).as_rotvec()
    axis = np.linalg.svd(steps, full_matrices=False)[2][0]
    quaternion = joint.as_quat(scalar_first=True)
    angle = 2.0 * np.degrees(np.arctan2(quaternion[:, 1:] @ axis, quaternion[:, 0]))
    angle = (angle + 180.0) % 360.0 - 180.0
    sign = np.sign(angle[moving].mean())
    return sign * angle, sign * axis


def synchronise(
    time_s: Array, angle: Array, reference: pd.DataFrame
) -> tuple[float, float, Array, Array]:
    """Return lag, drift (s/s), candidate lags and their correlation."""
    own_s = np.arange(0.0, reference["time_s"].iloc[-1], 1.0 / RATE_HZ)
    slow = np.interp(own_s, reference["time_s"], reference["knee_deg"])
    product = signal.correlate(angle - angle.mean(), slow - slow.mean())
    lags_s = signal.correlation_lags(angle.size, slow.size) / RATE_HZ
    lag_s = lags_s[np.argmax(product)]
    centres, shifts = [], []
    for start in np.arange(time_s[0] + 20.0, time_s[-1] - 10.0, 5.0):
        part = (time_s >= start) & (time_s < start + 10.0)
        trial_shifts = np.arange(-0.1, 0.1, 0.002)
        fit = [
            np.corrcoef(angle[part], np.interp(time_s[part] - lag_s - d, own_s, slow))[0, 1]
            for d in trial_shifts
        ]
        centres.append(start + 5.0)
        shifts.append(trial_shifts[np.argmax(fit)])
    slope, intercept, _, _ = stats.theilslopes(shifts, centres)
    return lag_s + intercept, slope, lags_s, product / np.abs(product).max()


def cut(time_s: Array, sagittal: Array, heading: Array, row: pd.Series) -> Array:
    """Return start and end (n, 2) of straight cycles between troughs after mid-swing."""
    smooth = signal.filtfilt(*signal.butter(4, 15.0, fs=RATE_HZ), sagittal)
    swings, _ = signal.find_peaks(smooth, height=3.0, distance=60)
    contacts = []
    for swing in swings:
        troughs, _ = signal.find_peaks(-smooth[swing : swing + 50])
        if troughs.size:
            contacts.append(time_s[swing + troughs[0]])
    cycles = np.column_stack([contacts[:-1], contacts[1:]])
    turned = np.abs(np.diff(np.interp(cycles, time_s, heading), axis=1))[:, 0]
    duration = np.diff(cycles, axis=1)[:, 0]
    inside = (cycles[:, 0] > row.start_s) & (cycles[:, 1] < row.end_s)
    usual = np.abs(duration - np.median(duration)) < 0.2 * np.median(duration)
    return np.asarray(cycles[inside & usual & (turned < np.deg2rad(12.0))][1:-1])


def draw(
    out: Path, name: str, traces: tuple[Array, ...], lag: tuple[Array, Array], curves: Array
) -> None:
    time_s, wearable, reference = traces
    figure, axes = plt.subplots(figsize=(7.0, 2.5))
    axes.plot(time_s, wearable, lw=0.7)
    axes.plot(time_s, reference, lw=0.7)
    axes.set(xlabel="time (s)", ylabel="knee flexion (deg)")
    figure.savefig(out / f"{name}_traces.pdf")
    plt.close(figure)

    figure, axes = plt.subplots(figsize=(3.5, 2.5))
    axes.plot(*lag, lw=0.7)
    axes.set(xlabel="lag (s)", ylabel="correlation")
    figure.savefig(out / f"{name}_correlation.pdf")
    plt.close(figure)

    share = np.linspace(0, 100, 101)
    figure, axes = plt.subplots(figsize=(3.5, 2.5))
    for one, colour in zip(curves, ("C0", "C1"), strict=True):
        axes.plot(share, one.T, color=colour, lw=0.3, alpha=0.4)
        mean, sd = one.mean(axis=0), one.std(axis=0, ddof=1)
        axes.fill_between(share, mean - sd, mean + sd, color=colour, alpha=0.2)
        axes.plot(share, mean, color=colour)
    axes.set(xlabel="cycle (%)", ylabel="knee flexion (deg)")
    figure.savefig(out / f"{name}_cycles.pdf")
    plt.close(figure)


def analyse(folder: Path, out: Path, row: pd.Series) -> tuple[dict[str, object], pd.DataFrame]:
    raw = pd.read_csv(folder / row.wearable)
    time_s = np.arange(round(raw["time_s"].iloc[-1] * RATE_HZ) + 1) / RATE_HZ
    frame = pd.DataFrame({c: np.interp(time_s, raw["time_s"], raw[c]) for c in raw.columns})
    reference = pd.read_csv(folder / row.reference)
    thigh, shank = orientation(frame, "thigh"), orientation(frame, "shank")
    angle, axis = flexion(thigh, shank, time_s, row)
    lag_s, drift, lags_s, correlation = synchronise(time_s, angle, reference)
    own_s = (time_s - lag_s) / (1.0 + drift)
    paired = np.interp(own_s, reference["time_s"], reference["knee_deg"])
    rate = frame[[f"shank_gyr_{a}" for a in "xyz"]].to_numpy(copy=True)
    heading = np.cumsum(shank.apply(rate)[:, 2]) / RATE_HZ
    cycles = cut(time_s, -rate @ axis, heading, row)
    at_s = cycles[:, :1] + np.linspace(0, 1, 101) * np.diff(cycles, axis=1)
    curves = np.stack([np.interp(at_s, time_s, angle), np.interp(at_s, time_s, paired)])
    name = f"{row.participant}_{row.condition}"
    draw(out, name, (time_s, angle, paired), (lags_s, correlation), curves)
    means = curves.mean(axis=1)
    difference = means[0] - means[1]
    summary = {
        "participant": row.participant,
        "cycles": len(cycles),
        "lag_s": lag_s,
        "drift_ppm": 1e6 * drift,
        "offset_deg": difference.mean(),
        "rms_demeaned_deg": difference.std(),
        "wearable_sd_deg": curves[0].std(axis=0, ddof=1).mean(),
        "reference_sd_deg": curves[1].std(axis=0, ddof=1).mean(),
    }
    peaks = pd.DataFrame(
        {
            "participant": row.participant,
            "wearable": curves[0].max(1),
            "reference": curves[1].max(1),
        }
    )
    return summary, peaks


def main(folder: Path, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    trials = pd.read_csv(folder / "trials.csv")
    done = [analyse(folder, out, row) for _, row in trials.iterrows()]
    table = pd.DataFrame([summary for summary, _ in done])
    table.to_csv(out / "summary.csv", index=False)
    means = pd.concat([peaks for _, peaks in done]).groupby("participant").mean()
    axes = pg.plot_blandaltman(means["wearable"], means["reference"])
    axes.figure.savefig(out / "bland_altman.pdf")
    long = means.reset_index().melt("participant", var_name="instrument", value_name="peak")
    pg.intraclass_corr(long, targets="participant", raters="instrument", ratings="peak").to_csv(
        out / "reliability.csv", index=False
    )
    print(table.round(4).to_string(index=False))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
