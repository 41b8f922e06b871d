"""Units that stand in the names of columns, as in `Gyr_X [deg/s]`, `acc_x_g` or `acc_g_x`."""

from __future__ import annotations

import re
from collections.abc import Iterable

from twinangle.init.languages import in_english
from twinangle.wearable.signal_units import FACTORS, SPELLINGS

_SPELT = (
    r"m?g|m[\s_/]*s(?:\^|\*\*)?-?[2²]|m/s/s|m\*s\^?-2|(?:deg|rad|°)[_/]?s(?:ec)?|dps|"
    r"[uµμ]t|mt|gauss|microtesla"
)
_IN_BRACKETS = re.compile(r"[\s_.:-]*[\[(]([^\])]*)[\])]\s*$")
_AT_END = re.compile(rf"[\s_.:-]+({_SPELT})$", re.IGNORECASE)
_BEFORE_AXIS = re.compile(rf"[\s_.:-]+({_SPELT})(?=[\s_.:-]+[wxyz]$)", re.IGNORECASE)
# How names spell units beyond what files do in a row of units: without signs, in either case.
_IN_NAMES = {
    "ms2": "m/s^2", "m/s/s": "m/s^2", "m/s**2": "m/s^2", "m*s-2": "m/s^2", "ms-2": "m/s^2",
    "m/s-2": "m/s^2", "ms^-2": "m/s^2", "degs": "deg/s", "deg/sec": "deg/s", "degsec": "deg/s",
    "°s": "deg/s", "°/sec": "deg/s", "degrees/s": "deg/s", "rads": "rad/s", "rad/sec": "rad/s",
    "radsec": "rad/s",
}  # fmt: skip
_ANGLES = {
    "deg": "deg", "°": "deg", "degree": "deg", "degrees": "deg", "rad": "rad", "radian": "rad",
    "radians": "rad", "v": "V", "volt": "V", "volts": "V",
}  # fmt: skip
_LAST_WORD = re.compile(r"[^a-z°]")


def without_unit(name: str) -> str:
    """Return a channel's name without a unit in it: `thigh acc x` of `thigh acc x [g]`."""
    bare = name
    for pattern in (_IN_BRACKETS, _AT_END, _BEFORE_AXIS):
        bare = pattern.sub("", bare)
    return bare if re.search(r"[^\W_]", bare) else name


def sensor_unit(names: Iterable[str], instrument: str) -> str | None:
    """Return the unit, as a study file spells it, that all names of an instrument's columns give.

    None where one gives none or another, or one that no study file may state.
    """
    known = {each.lower(): each for each in FACTORS[instrument]}
    known |= {
        spelt.lower().replace(" ", ""): unit
        for spelt, unit in (*SPELLINGS.items(), *_IN_NAMES.items())
        if unit in FACTORS[instrument]
    }
    found = {known.get(re.sub(r"[\s_]", "", _unit_text(name)).lower()) for name in names}
    return found.pop() if len(found) == 1 else None


def instrument_of_unit(name: str, declared: str = "") -> str | None:
    """Return the instrument of which alone a unit is, as declared or in the name; None otherwise.

    A small g is an acceleration; G may be gauss too.
    """
    text = declared or _unit_text(name)
    found = [one for one in FACTORS if sensor_unit([f"x [{text}]"], one)] if text else []
    if text.strip() == "g":
        return "accelerometer"
    return found[0] if len(found) == 1 else None


def angle_unit(name: str, declared: str = "") -> str | None:
    """Return "deg", "rad" or "V" as the file declares it, or else as the name ends."""
    apart = in_english(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name))  # KneeDeg
    last = _LAST_WORD.split(apart.lower().strip(" )]"))[-1]
    return _ANGLES.get(declared.lower()) or _ANGLES.get(last)


def _unit_text(name: str) -> str:
    """Return what stands in a name as its unit; empty where nothing does."""
    text = in_english(name)
    found = (pattern.search(text) for pattern in (_IN_BRACKETS, _AT_END, _BEFORE_AXIS))
    return next((match[1] for match in found if match), "")
