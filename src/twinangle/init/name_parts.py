"""A channel's name taken apart: instrument, axis, and the rest, which names the sensor."""

from __future__ import annotations

import re
from dataclasses import dataclass

from twinangle.init.languages import in_english

INSTRUMENTS = {
    "accelerometer": ("acceleration", "accelerometer", "accel", "acc"),
    "gyroscope": ("angular velocity", "gyroscope", "gyro", "gyr", "rate"),
    "magnetometer": ("magnetometer", "magn", "mag"),
    "quaternion": ("quaternion", "quat", "orientation", "ornt", "q"),
}
_BY_SPELLING = {spelt: name for name, each in INSTRUMENTS.items() for spelt in each}
_SPELT = "|".join(sorted(_BY_SPELLING, key=len, reverse=True))
# One word of a name: perhaps a sensor that ends in a number, the instrument, an axis, a number.
_WORD = re.compile(rf"(?P<before>|.*\d)(?P<instrument>{_SPELT})(?P<axis>[wxyz]?)(?P<after>\d*)")
_AXIS = re.compile(r"(?P<axis>[wxyz])(?P<after>\d*)")


@dataclass(frozen=True, slots=True)
class NameParts:
    """What a name says: `rest` is what neither instrument nor axis is, such as "S1"."""

    instrument: str
    axis: str
    rest: str


def name_parts(name: str) -> NameParts | None:
    """Return the parts of a channel's name; None where it has no instrument or no axis.

    `S1_acc_x`, `Acc_X_S1`, `AccX1` and `00B4217C Gyr Z` are read alike.
    """
    joined = re.sub(r"angular[ _]?velocity", "gyroscope", name, flags=re.IGNORECASE)
    apart = in_english(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", joined))
    instrument, axis, rest = "", "", []
    for word in re.split(r"[\W_]+", apart):
        match = _WORD.fullmatch(word.lower())
        if match and not instrument:
            instrument, axis = _BY_SPELLING[match["instrument"]], match["axis"]
            before = word[: match.end("before")]
            rest += [part for part in (before, match["after"]) if part]
        elif (match := _AXIS.fullmatch(word.lower())) and not axis:
            axis = match["axis"]
            rest += [match["after"]] if match["after"] else []
        elif word:
            rest.append(word)
    return NameParts(instrument, axis, " ".join(rest)) if instrument and axis else None
