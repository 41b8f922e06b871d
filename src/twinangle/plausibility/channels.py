"""Instruments that ran into the end of their range: what is sure is said before other causes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.outcome import Outcome, Subject, not_tested
from twinangle.signals.recording import AngleRecording
from twinangle.thresholds import told_apart
from twinangle.wearable.saturation import DENSE_RATIO, Ceiling, cut_peaks

TEST = "channels"
MOST_QUARTILES = 0.006
"""Distance of the quartiles of a reference's samples at the top, of the height of its peaks: 0.010
and more on the open goniometers and optical angles, 0.0013 and less where a range cuts them."""
_LEAST_HEIGHT_DEG = 8.0  # above the median: lower peaks are no movement's
_LONGEST_AT_TOP_S = 2.0  # of a stride; a joint held still has a flat top too
_FEWEST = 100


@dataclass(frozen=True, slots=True)
class Cut:
    """One end of a reference's range, as its angle shows it."""

    level_deg: float
    flatness: float
    share: float  # of all samples

    def summary(self) -> str:
        """Return the level and how often it is held."""
        return f"cut off at {self.level_deg:.1f}° in {self.share:.1%} of the samples"


def saturated_channels(evidence: Evidence) -> tuple[Outcome, ...]:
    """Look at the peaks of every gyroscope, accelerometer and of the reference for one flat level.

    The width of the peaks at 96.5 % of their level is divided by that at 75 %: 0.37 for a sine,
    more the more is cut off. See :func:`twinangle.wearable.saturation.find_ceilings`; the reference
    is taken about its median, both ways.
    """
    found: list[Outcome] = []
    for subject, ceilings in zip(_SENSORS, evidence.ceilings, strict=True):
        if evidence.sensors is None:
            found.append(not_tested(TEST, subject, "the wearable delivers no raw signals"))
        else:
            found.append(_of_sensor(subject, ceilings))
    return (*found, _of_reference(evidence.reference))


_SENSORS: tuple[Subject, Subject] = ("proximal sensor", "distal sensor")


def sure_causes(evidence: Evidence, *, gyroscopes_alone: bool = False) -> str:
    """Name every instrument that is cut off, one sentence each; empty where none is."""
    cut = [
        f"The {subject}'s {one.summary()}."
        for subject, ceilings in zip(_SENSORS, evidence.ceilings, strict=True)
        for one in ceilings
        if one.instrument == "gyroscope"
    ]
    if not gyroscopes_alone and evidence.reference is not None:
        cut += [f"The reference is {one.summary()}." for one in reference_cuts(evidence.reference)]
    return " ".join(cut)


@lru_cache(maxsize=2)  # five tests ask for it, of the same reference
def reference_cuts(reference: AngleRecording) -> tuple[Cut, ...]:
    """Return the levels at which an angle's peaks are cut flat, upper end first."""
    known = np.isfinite(reference.angle_deg)
    if known.sum() < _FEWEST:
        return ()
    angle = np.where(known, reference.angle_deg, np.nan)
    middle = float(np.nanmedian(angle))
    found = []
    for way in (1.0, -1.0):
        height = way * (angle - middle)
        # One level held for seconds is a joint at rest, and no peak.
        height = np.where(_held_long(height, reference.rate_hz), 0.0, height)
        cut = cut_peaks(height)
        if cut is None or cut.level < _LEAST_HEIGHT_DEG:
            continue
        if cut.flatness > DENSE_RATIO and cut.quartiles < MOST_QUARTILES:
            level = middle + way * float(np.median(height[cut.held]))
            found.append(Cut(level, cut.flatness, float(cut.held.mean())))
    return tuple(found)


def _held_long(
    height: np.typing.NDArray[np.float64], rate_hz: float
) -> np.typing.NDArray[np.bool_]:
    """Return which samples lie above three quarters of the largest height for 2 s and more."""
    with np.errstate(invalid="ignore"):
        above = height > 0.75 * np.nanpercentile(height, 99.9)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(np.int8), [0]))))
    held = np.zeros(height.size, dtype=bool)
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        held[begin:end] = end - begin > _LONGEST_AT_TOP_S * rate_hz
    return held


def _of_sensor(subject: Subject, ceilings: tuple[Ceiling, ...]) -> Outcome:
    if not ceilings:
        return Outcome(TEST, subject, "consistent", 0.0, 0.0, "%")
    share = 100 * max(one.share for one in ceilings)
    cut = "; ".join(one.summary() for one in ceilings)
    said = f"{cut}. What lies beyond the range is lost: record with a wider range."
    return Outcome(TEST, subject, "doubtful", share, 0.0, "%", said)


def _of_reference(reference: AngleRecording | None) -> Outcome:
    if reference is None:
        return not_tested(TEST, "reference", "the trial has no reference")
    cuts = reference_cuts(reference)
    if not cuts:
        return Outcome(TEST, "reference", "consistent", 0.0, 0.0, "%")
    worst = max(cuts, key=lambda cut: cut.share)
    flat, limit = told_apart(worst.flatness, DENSE_RATIO, 2)
    said = (
        f"{reference.source}: saturated: {' and '.join(cut.summary() for cut in cuts)}. Its peaks "
        f"are flat ({flat} of their width lies at one level; above {limit} they are cut off). What "
        "lies beyond is lost, so every difference there is the range's: set the instrument to a "
        "wider range, or leave these trials out. (A brace or a stop that ends the movement does "
        "the same.)"
    )
    return Outcome(TEST, "reference", "doubtful", 100 * worst.share, 0.0, "%", said)
