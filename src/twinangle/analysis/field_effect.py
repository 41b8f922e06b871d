"""Whether a disturbed magnetic field can matter to flexion, recording by recording."""

from __future__ import annotations

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Gravity, Notice, kind_of, size_of
from twinangle.signals.recording import Array, PairedAngles, SensorPair
from twinangle.wearable.heading.hinge import hinge_of

HEADING_SHARES = {"kalman": 0.25, "vqf": 0.6}
"""Error of a procedure's heading, of the spread of the magnetic heading: the usual one on simulated
walks over a floor's iron (`benchmarks/heading_in_disturbed_field.py`); 1 for every other one."""
LARGEST_SHARES = {"kalman": 0.9, "vqf": 1.3}
"""Likewise the largest, on walks of 40 s, where the mean of a field that is off hardly shows in its
spread (`benchmarks/field_effect.py`); 1.4 for every other one."""
TILT_DEGS = 0.1, 0.2
"""What iron did to flexion beside the heading, as the filter's vertical follows it a little: the
usual and the largest RMS where the hinge is level (`benchmarks/field_effect.py`)."""
MATTERS_DEG = 0.5
"""Error of flexion from which it is a warning: a tenth of a margin of 5°. A choice of ours."""


def judged_by_effect(
    texts: tuple[str, ...], procedure: str, pair: SensorPair | None, paired: PairedAngles
) -> tuple[str, ...]:
    """Return warnings of a disturbed field, as notes where flexion hardly feels it.

    A sensor whose heading is off by h turns about the vertical. Flexion is the turn about the
    hinge's axis j: it is off by h·|j·up|, and a range R of flexion is seen shorter by up to
    R (1 − cos h), as the axis is seen h aside. (Small rotations; our own.) Beside it, in
    quadrature, stands what iron does through the vertical (`TILT_DEGS`). Told are the usual and
    the largest of it; the usual one decides on the gravity. Both are what iron adds: flexion with
    iron less flexion without it. What the procedure is off by without iron is no part of it.
    What the largest figure held on is printed by `benchmarks/field_effect.py`.

    Parameters
    ----------
    texts : tuple of str
        Of kind "magnetic-disturbance", their size the spread of the magnetic heading in degrees;
        the first word names the sensor. Others are returned as they are.
    procedure : str
        It decides how much of the spread reaches the heading.
    pair : SensorPair or None
        Raw signals, for the axis and the vertical.
    paired : PairedAngles
        For the range of flexion.
    """
    disturbed = [text for text in texts if kind_of(text) == "magnetic-disturbance"]
    if not disturbed or pair is None:
        return texts
    try:
        axes = hinge_of(pair)
    except AngleError:
        return texts
    upright = {
        "proximal": _along(axes.proximal, pair.proximal.accelerometer),
        "distal": _along(axes.distal, pair.distal.accelerometer),
    }
    range_deg = float(np.ptp(np.nanpercentile(paired.wearable_deg, [1.0, 99.0])))
    shares = HEADING_SHARES.get(procedure, 1.0), LARGEST_SHARES.get(procedure, 1.4)
    return tuple(
        _judged(
            text,
            [
                _effect(share * size_of(text), upright[text.split()[0]], range_deg, tilt)
                for share, tilt in zip(shares, TILT_DEGS, strict=True)
            ],
        )
        if kind_of(text) == "magnetic-disturbance"
        else text
        for text in texts
    )


def _along(axis: Array, force: Array) -> float:
    """Return |axis · up|, up the direction of the mean specific force."""
    up = np.nanmean(force, axis=0)
    return float(abs(axis @ up) / np.linalg.norm(up))


def _effect(heading_deg: float, upright: float, range_deg: float, tilt_deg: float) -> float:
    """Return how far iron puts flexion off by a heading and a vertical that are off, in degrees."""
    turned = float(np.radians(min(heading_deg, 90.0)))
    by_heading = heading_deg * upright + range_deg * (1 - float(np.cos(turned)))
    return float(np.hypot(by_heading, tilt_deg))


def _judged(text: str, effects: list[float]) -> Notice:
    """Return the warning with what it usually does to flexion, and what it can do."""
    usual, largest = effects
    gravity: Gravity = "warning" if usual >= MATTERS_DEG else "note"
    told = (
        f"{text} With this mounting, iron usually moves flexion by about {usual:.1f}° RMS; in the "
        f"worst of the simulated walks over iron it would be {largest:.1f}°. What the procedure is "
        "off by without iron comes on top."
    )
    return Notice(told, kind_of(text), gravity, usual)
