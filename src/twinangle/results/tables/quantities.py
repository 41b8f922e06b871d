"""Long tables: every number and word of a part of `results.json`, one row each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from twinangle.results.tables.columns import NAN, NO_INTERVAL, Interval

# Endings of the keys of `results.json`, and the units that they stand for.
UNITS = {
    "_per_minute": "1/min",
    "_m_per_s2": "m/s2",
    "_m_s2": "m/s2",
    "_rad_per_s": "rad/s",
    "_deg_per_s": "deg/s",
    "_deg_s": "deg/s",
    "_deg2": "deg2",
    "_deg": "deg",
    "_hz": "Hz",
    "_Hz": "Hz",
    "_ppm": "ppm",
    "_percent": "percent",
    "_ms": "ms",
    "_s": "s",
}
OPEN = ("inf", "-inf")  # an end of an interval that is open


@dataclass(frozen=True, slots=True)
class Found:
    """One quantity: its key, joined by full stops, and its number with an interval, or its text."""

    quantity: str
    value: float = NAN
    ci: Interval = NO_INTERVAL
    unit: str = ""
    text: str = ""


def quantities_of(record: Mapping[str, Any], prefix: str = "", unit: str = "") -> Iterator[Found]:
    """Yield what a part of `results.json` holds, in its order; lists of parts are left to others.

    Parameters
    ----------
    record : mapping
        As of `StudyResults.to_json`. The pair under `x_ci` is the interval of `x`.
    prefix : str
        Stands before every key.
    unit : str
        Of keys that say none, from the part's own key (`error_budget_deg2`).
    """
    own = {of: key for key in record if (of := _own(key)) != key}
    told = {key for of, key in own.items() if of in record}  # with its number
    for key, value in record.items():
        name = f"{prefix}{key}"
        if isinstance(value, Mapping):
            yield from quantities_of(value, f"{name}.", "" if _plain(key) else unit_of(key, unit))
        elif key in told:
            continue
        elif isinstance(value, list):
            if _is_pair(value):
                yield Found(name, ci=_pair(value), unit=unit_of(key, unit))
        elif isinstance(value, str):
            yield Found(name, text=value)
        elif isinstance(value, bool):
            yield Found(name, text=str(value))
        else:
            interval = _pair(record.get(own.get(key, "")))
            yield Found(name, NAN if value is None else value, interval, unit_of(key, unit))


def unit_of(key: str, otherwise: str = "") -> str:
    """Return the unit that a key of `results.json` ends with; counts and the like have none."""
    if _plain(key):
        return ""
    found = _unit_at_end(key)
    return otherwise if found is None else found


@lru_cache(maxsize=4096)
def _unit_at_end(key: str) -> str | None:
    return next((unit for ending, unit in UNITS.items() if key.endswith(ending)), None)


def _plain(key: str) -> bool:
    """Whether a key is a count, a confidence or of covariates, whose names are the user's."""
    return key.startswith("n_") or key in ("confidence", "covariates", "bout")


def _own(key: str) -> str:
    """Return the key whose interval a key holds: `offset_ci_deg` has `offset_deg`."""
    return key.replace("_ci", "", 1) if "_ci_" in key or key.endswith("_ci") else key


def _is_pair(value: Any) -> bool:
    return (
        isinstance(value, list)
        and len(value) == 2
        and all(isinstance(each, float | int | None) or each in OPEN for each in value)
    )


def _pair(value: Any) -> Interval:
    if value is None or not _is_pair(value):
        return NO_INTERVAL
    low, high = (NAN if each is None else float(each) for each in value)
    return low, high
