"""What a trial's own recording tells of its sensors and of the magnetic field around them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from twinangle.card import Shown
from twinangle.declare import measured, number
from twinangle.signals.recording import Array
from twinangle.wearable.quality.device import DeviceQuality


@dataclass(frozen=True, slots=True)
class FieldFound(Shown):
    """How disturbed the magnetic field is at one sensor."""

    source: Annotated[str, number("file and sensor")]
    norm: Annotated[
        float, number("undisturbed norm, in the magnetometer's unit: µT unless normalised")
    ]
    dip_deg: Annotated[float, measured("deg", "undisturbed dip, positive below the horizontal")]
    norm_deviation_rms: Annotated[
        float, number("RMS deviation of the norm, a share of the undisturbed norm")
    ]
    norm_deviation_max: Annotated[float, number("largest deviation of the norm, likewise")]
    dip_deviation_rms_deg: Annotated[float, measured("deg", "RMS deviation of the dip")]
    dip_deviation_max_deg: Annotated[float, measured("deg", "largest deviation of the dip")]
    disturbed_share: Annotated[float, number("share of samples that are disturbed")]
    heading_spread_deg: Annotated[
        float, measured("deg", "how far the magnetic heading strays, from norm and upward part")
    ]
    n_samples: Annotated[int, number("samples with a magnetometer reading and a dip")]
    error_correlation: Annotated[
        float, number("rank correlation over seconds with the angle's error; null without one")
    ] = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class SensorRecord(Shown):
    """What a trial's own recording tells of one sensor and of the field around it.

    The three arrays are one value a second, for the figure.
    """

    segment: Annotated[str, number("'proximal' or 'distal'")]
    device: Annotated[DeviceQuality, number("quality of the sensor's own signals")]
    field: Annotated[
        FieldFound | None, number("how disturbed the field is; null without a magnetometer")
    ]
    time_s: Annotated[Array, measured("s", "start of each second")]
    norm_deviation: Annotated[
        Array, number("mean deviation of the field's norm, a share of the undisturbed norm")
    ]
    disturbed_share: Annotated[Array, number("share of the second that is disturbed")]
