"""The unit of a column of times: stated, or declared by the file; never guessed from numbers."""

from __future__ import annotations

import math
import re

import numpy as np

from twinangle.errors import RecordingError
from twinangle.formats.request import Request, Table
from twinangle.naming import shown
from twinangle.signals.recording import Recording
from twinangle.thresholds import told_apart

TICKS_A_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6}
SPELT = {
    "s": ("s", "sec", "secs", "second", "seconds"),
    "ms": ("ms", "msec", "millisecond", "milliseconds", "millis"),
    "us": ("us", "µs", "μs", "usec", "microsecond", "microseconds"),
}
_IN_NAME = re.compile(r".*(?:[_ .\-]|[(\[])(?P<unit>[^\W\d_]+)[)\]]?\s*")
SLOWEST_HZ, FASTEST_HZ = 5.0, 20_000.0
"""Between these rates movement is recorded (common practice, no source: 20 Hz to 2 kHz, analogue
signals up to 10 kHz). Outside, the times are of another unit, or no times."""


def unit_called(text: str) -> str | None:
    """Return the unit of time that a text spells; None where it spells none that is read."""
    word = text.strip("[]() ").lower()
    return next((unit for unit, spelt in SPELT.items() if word in spelt), None)


def unit_in_name(name: str) -> str | None:
    """Return the unit of time that a column is called by, or that ends its name (``time_ms``)."""
    match = _IN_NAME.fullmatch(name)
    return unit_called(match["unit"] if match else name)


def time_unit(table: Table, request: Request) -> float:
    """Return how many of the time column's units make a second.

    Raises
    ------
    RecordingError
        If what is stated contradicts what the file declares, or the column's name says that it is
        not in seconds and nothing is stated.
    """
    name = str(request.time)
    declared = unit_called(table.units.get(name, ""))
    stated = request.time_unit
    if stated is not None and declared not in (None, stated):
        raise RecordingError(
            f"{request.source}: column {shown(name)} is declared in {declared!r} in the file, but "
            f"`time_unit` is {stated!r}; leave the key out, or correct it."
        )
    unit = stated or declared
    if unit is None and unit_in_name(name) in ("ms", "us"):
        raise RecordingError(
            f"{request.source}: column {shown(name)} does not sound like seconds, and nothing "
            f'states its unit; give `time_unit = "{unit_in_name(name)}"` (or "s") beside `time`.'
        )
    return TICKS_A_SECOND[unit or "s"]


def strange_rate(rate_hz: float, stated: str | None = None) -> str:
    """Return what is odd about a sampling rate, by times of the stated unit; empty where nothing.

    Without one they were taken for seconds.
    """
    if rate_hz < SLOWEST_HZ:
        meant = _other_unit(rate_hz, stated)
        decimals = max(1, -math.floor(math.log10(rate_hz)))
        shown_hz, least = told_apart(rate_hz, SLOWEST_HZ, decimals)
        return (
            f"its times step at {shown_hz} Hz, slower than movement is recorded "
            f"(from {least} Hz): either {meant}, or the column counts samples (give "
            "`rate_hz` as well)"
        )
    if rate_hz > FASTEST_HZ:
        shown_hz, most = told_apart(rate_hz, FASTEST_HZ, 0)
        return (
            f"its times step at {shown_hz} Hz, faster than movement is recorded "
            f"(up to {most} Hz): {_other_unit(rate_hz, stated)}; write "
            "them in seconds, milliseconds or microseconds, or give `rate_hz` without `time`"
        )
    return ""


def _other_unit(rate_hz: float, stated: str | None) -> str:
    """Say what unit the times are likely not in, and which would make sense of them."""
    a_unit_hz = rate_hz / TICKS_A_SECOND[stated or "s"]
    fitting = [
        f'`time_unit = "{unit}"` would make it {a_unit_hz * ticks:.4g} Hz'
        for unit, ticks in TICKS_A_SECOND.items()
        if SLOWEST_HZ <= a_unit_hz * ticks <= FASTEST_HZ
    ]
    if stated is not None:
        said = f'the study file\'s `time_unit = "{stated}"` is likely wrong'
    else:
        said = "they are not in seconds"
    if not fitting:
        fitting = ["days, hours or minutes?"] if rate_hz > FASTEST_HZ else []
    return f"{said} ({fitting[0]})" if fitting else said


def refuse_strange_rate(recording: Recording, stated: str | None = None) -> None:
    """Refuse a recording whose times step at a rate that no movement is recorded at.

    Parameters
    ----------
    recording : Recording
        As it was read, in seconds if the study says so.
    stated : {"s", "ms", "us"}, optional
        Unit of its times by the study, which is then the likely cause.

    Raises
    ------
    RecordingError
        With the unit of time that would make sense of it.
    """
    steps = np.diff(recording.time_s)
    # by the usual step, as gaps are long; samples that come in bursts are slower than it says
    rates = (1 / float(np.median(steps)), 1 / float(steps.mean())) if steps.size else (100.0, 100.0)
    odd = strange_rate(min(rates) if rates[0] > FASTEST_HZ else rates[0], stated)
    if odd:
        raise RecordingError(f"{recording.source}: {odd}.")
