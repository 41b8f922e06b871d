"""Whether the sensors sat in a standing recorded apart as they sit in the walk.

In standing of its own file a sensor sees the vertical in one direction. Somewhere in the walk, at
rest or on average over two seconds, a segment comes near to how it stood; where it never does, the
sensor was taken off, turned or its axes renamed in between. A turn about the segment's own length
is not seen.
"""

from __future__ import annotations

import numpy as np

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import NO_SIGNALS
from twinangle.plausibility.levelled import vertical_of
from twinangle.plausibility.outcome import Outcome, Subject, not_tested
from twinangle.signals.recording import Array, InertialRecording
from twinangle.thresholds import told_apart

TEST = "standing file"
MEAN_S = 2.0
WARNED_DEG = 25.0
"""Nearest distance of the vertical to that in standing: honest walks come within 10°."""


def standing_file(evidence: Evidence) -> tuple[Outcome, ...]:
    """Compare each sensor's vertical in a standing of its own file with that in the walk."""
    pair, standing = evidence.pair, evidence.standing
    if pair is None:
        return (not_tested(TEST, "both sensors", NO_SIGNALS),)
    if standing is None:
        why = "standing lies in this recording itself, so that no sensor was moved in between."
        return (not_tested(TEST, "both sensors", why),)
    return (
        _one("proximal sensor", pair.proximal, standing.proximal),
        _one("distal sensor", pair.distal, standing.distal),
    )


def _one(subject: Subject, walk: InertialRecording, standing: InertialRecording) -> Outcome:
    nearest = nearest_deg(walk, standing)
    if not np.isfinite(nearest):
        return not_tested(TEST, subject, "the vertical is not known in one of the two.")
    if nearest <= WARNED_DEG:
        return Outcome(TEST, subject, "consistent", nearest, WARNED_DEG, "deg")
    value, bound = told_apart(nearest, WARNED_DEG, 0)
    return Outcome(
        TEST,
        subject,
        "doubtful",
        nearest,
        WARNED_DEG,
        "deg",
        f"{walk.source}: the sensor never comes nearer than {value}° to how it stood in "
        f"{standing.source} (limit {bound}°): it was moved between the two, or its axes are named "
        "otherwise there, and the angle rests on its mounting in standing. Record standing anew "
        "whenever a sensor was touched. (A person who only sits in the recording shows the same.)",
    )


def nearest_deg(walk: InertialRecording, standing: InertialRecording) -> float:
    """Return the least angle between the vertical's 2 s means in the walk and in standing."""
    length = round(MEAN_S * walk.rate_hz)
    up = vertical_of(walk)
    means = up[: up.shape[0] // length * length].reshape(-1, length, 3).mean(axis=1)
    means = means[np.isfinite(means).all(axis=1)]
    stood = _unit(np.nanmean(standing.accelerometer, axis=0))
    if not means.size or not np.isfinite(stood).all():
        return float("nan")
    cosine = (means @ stood) / np.linalg.norm(means, axis=1)
    return float(np.degrees(np.arccos(np.clip(cosine.max(), -1.0, 1.0))))


def _unit(vector: Array) -> Array:
    return np.asarray(vector / np.linalg.norm(vector))
