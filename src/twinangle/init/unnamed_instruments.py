"""Channels whose instrument no word tells: by their units, or as `ax`, `gx`, `mx`."""

from __future__ import annotations

import re
from collections.abc import Sequence

from twinangle.formats.description import ChannelDescription
from twinangle.init.name_parts import NameParts
from twinangle.init.units_in_names import instrument_of_unit, without_unit

# One letter before the axis; common practice, no source. Rates are g or w (omega).
_SYMBOLS = {"a": "accelerometer", "g": "gyroscope", "w": "gyroscope", "m": "magnetometer"}
_AXIS = re.compile(r"(?P<before>.*?)[\W_]*(?P<axis>[xyzXYZ])(?P<after>\d*)")

_Taken = tuple[str, str, tuple[str, ...]]  # instrument, axis, the other words


def by_unit_or_symbol(channels: Sequence[ChannelDescription]) -> dict[str, NameParts]:
    """Return the parts of the names that a unit or a symbol makes those of a sensor.

    A word that all channels of one instrument have, and none of another, is the instrument's own
    name in whatever language; what is left names the sensor.

    Parameters
    ----------
    channels : sequence of ChannelDescription
        All channels of a file.

    Returns
    -------
    dict of str to NameParts
        By the channel's name.
    """
    by_unit = {
        each.name: taken for each in channels if (taken := _taken(each.name, each.unit)) is not None
    }
    if by_unit:
        own = _own_words([*by_unit.values()])
        return {
            name: NameParts(instrument, axis, " ".join(w for w in words if w not in own))
            for name, (instrument, axis, words) in by_unit.items()
        }
    return _by_symbol(channels)


def _taken(name: str, unit: str) -> _Taken | None:
    """Return what a name with a unit of a sensor says; None without such a unit or an axis."""
    instrument = instrument_of_unit(name, unit)
    words = re.split(r"[\W_]+", without_unit(name))
    at = next((k for k, word in enumerate(words) if word.lower() in {*"xyz"}), None)
    if instrument is None:
        return None
    if at is not None:
        rest = [*words[:at], *words[at + 1 :]]
        return instrument, words[at].lower(), tuple(word for word in rest if word)
    match = _AXIS.fullmatch(words[-1])
    if match is None:
        return None
    rest = [*words[:-1], match["before"], match["after"]]
    return instrument, match["axis"].lower(), tuple(word for word in rest if word)


def _own_words(taken: Sequence[_Taken]) -> set[str]:
    """Return the words that all channels of one instrument have, and none of another."""
    found: set[str] = set()
    for instrument in {each[0] for each in taken}:
        own = [set(words) for one, _, words in taken if one == instrument]
        others = {word for one, _, words in taken if one != instrument for word in words}
        found |= set.intersection(*own) - others
    return found if len({each[0] for each in taken}) > 1 else set()


def _by_symbol(channels: Sequence[ChannelDescription]) -> dict[str, NameParts]:
    """Return names such as `OS_ax`, where accelerations stand beside rates of one letter."""
    found: dict[str, tuple[str, NameParts]] = {}
    for channel in channels:
        *rest, last = re.split(r"[\W_]+", channel.name) if not channel.unit else [""]
        match = re.fullmatch(r"([agwm])([xyzXYZ])(\d*)", last)
        if match is not None:
            sensor = " ".join(word for word in (*rest, match[3]) if word)
            parts = NameParts(_SYMBOLS[match[1]], match[2].lower(), sensor)
            found[channel.name] = match[1], parts
    symbols = {symbol for symbol, _ in found.values()}
    plain = "a" in symbols and len(symbols & {"g", "w"}) == 1
    return {name: parts for name, (_, parts) in found.items()} if plain else {}
