"""The machine-readable whole of a run (`results.json`): keys and units as the fields declare."""

from __future__ import annotations

import json
from collections.abc import Iterator
from json.encoder import encode_basestring
from typing import TYPE_CHECKING, Any

from twinangle.declare import Declared, declared
from twinangle.results.answer import answer_of
from twinangle.results.plain import Keys
from twinangle.results.pooled import Pooled

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

SCHEMA = 2
PARTS = ("trials", "others")
OF_SEVERAL = {
    "pairs_of_instruments": "pairs",
    "agreement_between_instruments": "between",
    "errors_of_three_instruments": "errors_of_three",
}
"""Keys that only a study of several wearables or references has, each with its field."""
KEYS = Keys("deg")
_NUMBERS = frozenset((float, int, bool, type(None)))
_INFINITE = ("inf", "-inf")  # how a number that has no literal is written
_encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def to_text(results: StudyResults) -> str:
    """Return the JSON text of `results`: UTF-8 characters kept, no NaN literal, final newline.

    A list of numbers, such as a curve, stands on one line.
    """
    return joined(*(text_of(results, part) for part in PARTS))


def text_of(results: StudyResults, part: str) -> str:
    """Return one of the `PARTS` of which :func:`joined` makes the whole text."""
    record = (
        {"trials": [trial_record(trial) for trial in results.trials]}
        if part == "trials"
        else _record_but_trials(results)
    )
    return "".join(_lines(record, "\n"))


def _lines(value: Any, end: str) -> Iterator[str]:
    """Yield the pieces of JSON text: a member a line, set in by one blank a level.

    The library's own encoder does so in Python, a piece a number; here it writes each list of
    numbers, which are most of the text, at once.
    """
    kind, inner = type(value), f"{end} "
    if kind is str:
        yield encode_basestring(value)
    elif not value or (kind is not dict and (kind is not list or _is_numbers(value))):
        yield _encode(value)
    elif kind is dict:
        before = "{"
        for key, each in value.items():
            yield f"{before}{inner}{encode_basestring(key)}: "
            yield from _lines(each, inner)
            before = ","
        yield f"{end}}}"
    else:
        before = "["
        for each in value:
            yield f"{before}{inner}"
            yield from _lines(each, inner)
            before = ","
        yield f"{end}]"


def _is_numbers(value: list[Any]) -> bool:
    """Whether it is a list of numbers alone, which stands on one line."""
    kinds = set(map(type, value))
    return kinds <= _NUMBERS or (
        kinds <= {*_NUMBERS, str}
        and all(each in _INFINITE for each in value if isinstance(each, str))
    )


def joined(trials: str, others: str) -> str:
    """Return the whole text: the trials, which are most of it, in their place among the others."""
    before, place, behind = others.partition('\n "trials": []')
    assert place
    return before + trials.removeprefix("{").removesuffix("\n}") + behind + "\n"


def study_record(results: StudyResults) -> dict[str, Any]:
    """Return the whole of a run as plain values."""
    return _record_but_trials(results) | {
        "trials": [trial_record(trial) for trial in results.trials]
    }


def _record_but_trials(results: StudyResults) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "study": {
            "title": results.title,
            "joint": results.joint,
            "invented": results.invented,
        },
        "options": KEYS.write(results.options),
        "answer": KEYS.write(answer_of(results)),
        "trials": [],
        **{
            KEYS.key(item): KEYS.write(getattr(results, item.name))
            for item in topic_fields(results.__class__)
        },
        "recordings_pooled": KEYS.write(results.recordings_pooled),
        **{
            key: KEYS.write(getattr(results, name))
            for key, name in OF_SEVERAL.items()
            if getattr(results, name)
        },
        "decisions": KEYS.write(results.decisions),
        "without_decisions": KEYS.write(results.without_decisions),
        "notes": list(results.notes),
        "provenance": {
            "version": results.version,
            "inputs": KEYS.write(results.inputs),
            "parameters": KEYS.write(results.parameters),
        },
    }


def trial_record(trial: TrialResult) -> dict[str, Any]:
    """Return one trial under one procedure as plain values, with the keys of `results.json`."""
    record: dict[str, Any] = KEYS.write(trial)
    return record


def topic_fields(kind: type) -> Iterator[Declared]:
    """Yield the fields of a class of results that hold a topic, in order."""
    for item in declared(kind):
        if f"{Pooled.__name__}[" in str(item.hint):
            yield item
