"""Lines of a section on a file's clock, and names as TOML has them."""

from __future__ import annotations

import re

from twinangle.formats.description import FileDescription


def clock_lines(description: FileDescription) -> list[str]:
    """Return what a section says of the times, open where the file does not tell."""
    if description.format == "Motion-BIDS" and description.time is not None:
        return []  # its own LATENCY channel, with the start time in scans.tsv
    if description.time is not None:
        return [f"time = {quoted(description.time)}", *_time_unit_line(description)]
    if description.rate_hz == description.rate_hz:  # the file itself tells its rate
        return []
    name = one_line(description.rising[0]) if len(description.rising) == 1 else "its name"
    return [
        'rate_hz = "?"                    # samples a second; or in its place the column of times:',
        f'#                                  time = "{name}", time_unit = "s", "ms" or "us"',
    ]


def _time_unit_line(description: FileDescription) -> list[str]:
    if description.time_unit == "?":
        rate = f"{description.rate_hz:.4g} Hz"
        return [f'time_unit = "?"                  # "s", "ms" or "us"; in seconds it is {rate}']
    unit = description.time_unit
    return [f'time_unit = "{unit}"                 # by the column\'s name'] if unit else []


def one_line(name: str) -> str:
    """Return a name without what would end a comment or a string."""
    return re.sub(r'[\s"\\]+', " ", name)


def quoted(text: str) -> str:
    """Return a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
