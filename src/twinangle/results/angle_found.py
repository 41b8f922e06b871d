"""What a procedure says of its own angle, over the recording and over the kept cycles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from twinangle.card import Shown
from twinangle.declare import measured
from twinangle.signals.recording import AngleQuality, Array
from twinangle.wearable.quality.residual import CycleResidual


@dataclass(frozen=True, slots=True)
class AngleFound(Shown):
    """What tells of the angle's quality; NaN where the procedure does not say it."""

    neutral_scatter_deg: Annotated[
        float, measured("deg", "RMS about the mean relative orientation in neutral standing")
    ]
    axis_spread_deg: Annotated[
        float, measured("deg", "RMS angle of the joint's rate from the flexion axis")
    ]
    axis_difference_deg: Annotated[
        float, measured("deg", "axis by the mean rate against that by the principal component")
    ]
    hinge_difference_deg: Annotated[
        float, measured("deg", "axis against the hinge that both gyroscopes fit best")
    ]
    residual_rms_deg: Annotated[
        float, measured("deg", "RMS of the joint's rotation outside the hinge")
    ]
    heading_uncertainty_deg: Annotated[
        float, measured("deg", "standard error of the sensors' relative heading")
    ]
    residual_cycle_median_deg: Annotated[
        float, measured("deg", "RMS outside the hinge, median of the kept cycles")
    ]
    residual_cycle_largest_deg: Annotated[
        float, measured("deg", "RMS outside the hinge, largest of the kept cycles")
    ]


def describe_angle(quality: AngleQuality, cycles: tuple[CycleResidual, ...]) -> AngleFound:
    """Return what is told of an angle, from its quality and the residual angle of its cycles."""
    by_cycle = np.array([each.rms_deg for each in cycles])
    return AngleFound(
        neutral_scatter_deg=quality.neutral_scatter_deg,
        axis_spread_deg=quality.axis_spread_deg,
        axis_difference_deg=quality.axis_difference_deg,
        hinge_difference_deg=quality.hinge_difference_deg,
        residual_rms_deg=_rms(quality.residual_deg),
        heading_uncertainty_deg=quality.heading_uncertainty_deg,
        residual_cycle_median_deg=float(np.median(by_cycle)) if cycles else float("nan"),
        residual_cycle_largest_deg=float(by_cycle.max()) if cycles else float("nan"),
    )


def _rms(values: Array | None) -> float:
    """Return the root mean square of what is not missing."""
    if values is None or not np.isfinite(values).any():
        return float("nan")
    return float(np.sqrt(np.nanmean(values**2)))
