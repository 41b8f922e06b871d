"""How far the joint's rotation strays from the hinge in each movement cycle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from twinangle.declare import measured, number
from twinangle.signals.recording import Array, CycleSet


@dataclass(frozen=True, slots=True)
class CycleResidual:
    """The residual angle in one kept cycle."""

    index: Annotated[int, number("number of the cycle among all that were found")]
    start_s: Annotated[float, measured("s", "start of the cycle")]
    end_s: Annotated[float, measured("s", "end of the cycle")]
    rms_deg: Annotated[float, measured("deg", "RMS of the residual angle in the cycle")]
    largest_deg: Annotated[float, measured("deg", "largest residual angle in the cycle")]


def residual_by_cycle(
    residual_deg: Array, start_s: float, rate_hz: float, cycles: CycleSet
) -> tuple[CycleResidual, ...]:
    """Return RMS and largest residual angle of each kept cycle.

    A fixed axis leaves the joint's turning about other axes over; where the residual grows from
    cycle to cycle, the axis, the mounting or the sensors' heading has moved.

    Parameters
    ----------
    residual_deg : (n,) array
        Angle of the joint rotation left after the flexion is taken out, degrees ≥ 0, see
        :func:`twinangle.wearable.flexion.residual_angle`; NaN in gaps.
    start_s, rate_hz : float
        Clock of `residual_deg`, that of `cycles`.
    cycles : CycleSet
        A cycle's samples lie from its start up to, not at, its end.

    Returns
    -------
    tuple of CycleResidual
        One a kept cycle that holds a known sample, in order of time.
    """
    found = []
    for index in np.flatnonzero(cycles.kept):
        begin, end = float(cycles.start_s[index]), float(cycles.end_s[index])
        first, last = (int(np.ceil((time - start_s) * rate_hz - 1e-6)) for time in (begin, end))
        inside = residual_deg[max(first, 0) : max(last, 0)]
        inside = inside[np.isfinite(inside)]
        if inside.size:
            rms = float(np.sqrt(np.mean(inside**2)))
            found.append(CycleResidual(int(index), begin, end, rms, float(inside.max())))
    return tuple(found)
