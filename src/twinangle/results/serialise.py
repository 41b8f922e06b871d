"""The machine-readable whole of a run (`results.json`): keys and units as the fields declare."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from json.encoder import encode_basestring
from math import isfinite
from typing import TYPE_CHECKING, Any

from twinangle.declare import Declared, declared
from twinangle.results.answer import answer_of
from twinangle.results.plain import Keys
from twinangle.results.pooled import Pooled

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

SCHEMA = 2
OF_SEVERAL = {
    "pairs_of_instruments": "pairs",
    "agreement_between_instruments": "between",
    "errors_of_three_instruments": "errors_of_three",
}
"""Keys that only a study of several wearables or references has, each with its field."""
KEYS = Keys("deg")
_NUMBERS = frozenset((float, int, bool, type(None)))
_INFINITE = ("inf", "-inf")  # how a number that has no literal is written
_TRIALS = '\n "trials": '
_OF_A_TRIAL = "\n  "  # the line of a trial, two levels in
_encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def to_text(results: StudyResults) -> str:
    """Return the JSON text of `results`: UTF-8 characters kept, no NaN literal, final newline.

    A list of numbers, such as a curve, stands on one line.
    """
    return joined(map(text_of_trial, results.trials), text_of_others(results))


def text_of_trial(trial: TrialResult) -> str:
    """Return one trial's part of the text, which :func:`joined` puts in its place."""
    return _text(trial_record(trial), _OF_A_TRIAL)


def text_of_others(results: StudyResults) -> str:
    """Return the text without the trials, which :func:`joined` puts in their place."""
    return _text(_record_but_trials(results), "\n")


def joined(trials: Iterable[str], others: str) -> str:
    """Return the whole text: the trials, which are most of it, in their place among the others."""
    before, place, behind = others.partition(f"{_TRIALS}[]")
    assert place
    listed = ",".join(f"{_OF_A_TRIAL}{each}" for each in trials)
    end = _OF_A_TRIAL[:-1] if listed else ""
    return f"{before}{_TRIALS}[{listed}{end}]{behind}\n"


def _text(value: Any, end: str) -> str:
    pieces: list[str] = []
    _put(value, end, pieces.append)
    return "".join(pieces)


def _put(value: Any, end: str, add: Callable[[str], object]) -> None:
    """Add the pieces of JSON text: a member a line, set in by one blank a level.

    The library's own encoder does so in Python, a piece a number; here it writes each list of
    numbers, which are most of the text, at once. `end` is a new line set in as the value is.
    """
    kind, inner = type(value), f"{end} "
    if kind is str:
        add(encode_basestring(value))
    elif kind is float and isfinite(value):
        add(repr(value))
    elif not value or (kind is not dict and (kind is not list or _is_numbers(value))):
        add(_encode(value))
    elif kind is dict:
        before = "{"
        for key, each in value.items():
            add(f"{before}{inner}{encode_basestring(key)}: ")
            _put(each, inner, add)
            before = ","
        add(f"{end}}}")
    else:
        before = "["
        for each in value:
            add(f"{before}{inner}")
            _put(each, inner, add)
            before = ","
        add(f"{end}]")


def _is_numbers(value: list[Any]) -> bool:
    """Whether it is a list of numbers alone, which stands on one line."""
    kinds = set(map(type, value))
    return kinds <= _NUMBERS or (
        kinds <= {*_NUMBERS, str}
        and all(each in _INFINITE for each in value if isinstance(each, str))
    )


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
