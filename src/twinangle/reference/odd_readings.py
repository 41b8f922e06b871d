"""What is odd in the readings of a reference: told, not refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from twinangle.notices import Notice
from twinangle.reference.goniometer import saturated
from twinangle.reference.optical import marker_angle
from twinangle.signals.channel_checks import (
    sampling_rate_hz,
)
from twinangle.signals.recording import Array, Recording

if TYPE_CHECKING:
    from twinangle.study.reference_settings import (
        AngleReference,
        MarkerReference,
        OrientationReference,
    )

FLAT_S = 1.0  # a live instrument does not hold one value so long, unless it is very coarse


def reference_notes(
    recording: Recording,
    settings: AngleReference | OrientationReference | MarkerReference,
    *,
    joint: str = "knee",
    side: str = "",
) -> tuple[str, ...]:
    """Return what is worth knowing of a reference's signals without being a fault.

    Parameters
    ----------
    recording, settings, joint, side
        As for :func:`reference_angle`.

    Returns
    -------
    tuple of str
        Kind "angle": saturated samples, and stretches of a second or more in which the reading
        does not change by a bit while it does elsewhere (a plug pulled out). Kind "markers":
        residuals, and frames solved from fewer markers, bridged and lost.
    """
    if settings.kind == "markers":
        return marker_angle(recording, settings, joint=joint, side=side)[1]
    if settings.kind != "angle":
        return ()
    values = recording.columns([settings.angle])[:, 0]
    notes = []
    n_saturated = int(saturated(values, settings.limits).sum())
    if n_saturated:
        text = (
            f"{recording.source}, channel {settings.angle!r}: {n_saturated} of {values.size} "
            f"samples at or beyond the limits {settings.limits} are left out as saturated"
        )
        notes.append(Notice(text, "reference-saturated", size=n_saturated / values.size))
    run, start = _longest_flat(values)
    rate_hz = sampling_rate_hz(recording)
    if FLAT_S * rate_hz <= run < 0.9 * values.size:
        text = (
            f"{recording.source}, channel {settings.angle!r}: does not change by a bit for "
            f"{run / rate_hz:.3g} s from {recording.time_s[start]:.6g} s on; was it disconnected? "
            "If so, empty its cells there, which makes a gap."
        )
        notes.append(Notice(text, "reference-flat", "grave", run / rate_hz))
    return tuple(notes)


def _longest_flat(values: Array) -> tuple[int, int]:
    """Return length and start of the longest stretch of one value."""
    edges = np.flatnonzero(np.diff(values, prepend=np.nan, append=np.nan) != 0)
    lengths = np.diff(edges)
    at = int(np.argmax(lengths))
    return int(lengths[at]), int(edges[at])
