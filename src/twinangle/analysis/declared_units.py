"""The unit that a file declares for its channels, against the one in the study file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from twinangle.errors import RecordingError
from twinangle.signals.recording import Recording

SPELLINGS = {
    "°": "deg", "degree": "deg", "degrees": "deg", "radian": "rad", "radians": "rad",
    "volt": "V", "volts": "V", "Volt": "V", "Volts": "V", "µV": "uV", "μV": "uV",
    "millimetre": "mm", "metre": "m", "centimetre": "cm",
}  # fmt: skip
QUANTITIES = (
    {"deg": 1.0},
    {"rad": 1.0},
    {"V": 1.0, "mV": 1e-3, "uV": 1e-6},
    {"m": 1.0, "cm": 1e-2, "mm": 1e-3},
)


def in_unit(recording: Recording, columns: Iterable[str], unit: str) -> Recording:
    """Return the recording with its declared channels in the study file's unit.

    Parameters
    ----------
    recording : Recording
        As read; a channel without a unit, or with one that is not known here, stays as it is.
    columns : iterable of str
        The channels that the study file's unit is about.
    unit : str
        One of deg, rad, V, mm, cm, m.

    Returns
    -------
    Recording
        Millivolts as volts, metres as millimetres and the like.

    Raises
    ------
    RecordingError
        If a channel is of another quantity, or in radians for degrees or the other way round: one
        of the two declarations is wrong, and neither file tells which.
    """
    values, units = recording.values, list(recording.units)
    wanted = next(each for each in QUANTITIES if unit in each)
    for name in columns:
        place = recording.channels.index(name)
        found = SPELLINGS.get(units[place], units[place])
        quantity = next((each for each in QUANTITIES if found in each), None)
        if quantity is None or found == unit:
            continue
        if quantity is not wanted:
            raise RecordingError(
                f"{recording.source}: channel {name!r} is in {units[place]!r} by the file itself, "
                f"and in {unit!r} by `unit` in the study file; correct `unit`, or name another "
                "channel."
            )
        values = np.array(values)
        values[:, place] *= wanted[found] / wanted[unit]
        units[place] = unit
    return replace(recording, values=values, units=tuple(units))
