"""What a trial's own recording tells of its sensors: device quality and magnetic disturbance."""

from __future__ import annotations

import numpy as np

from twinangle.notices import reworded
from twinangle.results.sensors_found import FieldFound, SensorRecord
from twinangle.signals.recording import Array, PairedAngles, SensorPair
from twinangle.wearable.quality.device import DeviceQuality, device_quality
from twinangle.wearable.quality.magnetic_field import (
    MagneticDisturbance,
    disturbance_and_error,
    magnetic_disturbance,
)

NONE = np.zeros(0)


def describe_sensors(
    pair: SensorPair | None, paired: PairedAngles
) -> tuple[tuple[SensorRecord, ...], tuple[str, ...], tuple[str, ...]]:
    """Return a record of each sensor, and what warns of the devices and of the magnetic field.

    All are empty without raw signals. Where a reference exists, `field` also holds the rank
    correlation, over seconds, of the field's deviation with the size of the angle's error.
    """
    if pair is None:
        return (), (), ()
    records, warnings, of_field = [], [], []
    for segment, sensor in (("proximal", pair.proximal), ("distal", pair.distal)):
        quality = device_quality(sensor)
        # What is saturated is told before all else, by the test of the channels.
        warnings += [
            reworded(text, f"{segment} sensor: {text}")
            for text in quality.warnings
            if not (quality.saturation and quality.saturation in text)
        ]
        if sensor.magnetometer is None:
            records.append(SensorRecord(segment, quality, None, NONE, NONE, NONE))
            continue
        disturbance = magnetic_disturbance(sensor)
        of_field += [reworded(text, f"{segment} sensor: {text}") for text in disturbance.warnings]
        records.append(_record(segment, disturbance, quality, paired))
    return tuple(records), tuple(warnings), tuple(of_field)


def _record(
    segment: str, disturbance: MagneticDisturbance, device: DeviceQuality, paired: PairedAngles
) -> SensorRecord:
    numbers = disturbance.numbers()
    error = _error(paired)
    if error is not None:
        both = disturbance_and_error(disturbance, error)
        numbers |= {"error_correlation": both.correlation}
    bins = disturbance.bins()
    return SensorRecord(
        segment=segment,
        device=device,
        field=FieldFound(**numbers),
        time_s=bins["start_s"],
        norm_deviation=bins["norm_deviation"],
        disturbed_share=bins["disturbed_share"],
    )


def _error(paired: PairedAngles) -> Array | None:
    """Return the demeaned difference of the two instruments, sample by sample."""
    if paired.reference_deg is None:
        return None
    difference = paired.wearable_deg - paired.reference_deg
    return np.asarray(difference - np.nanmean(difference))
