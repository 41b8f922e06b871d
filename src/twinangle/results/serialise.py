"""The machine-readable whole of a run (`results.json`): keys and units as the fields declare."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
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
_NUMBER = r'(?:-?[0-9][0-9.e+-]*|null|true|false|"-?inf")'
# A list of numbers alone, which `json.dumps` would spread over as many lines.
_NUMBERS = re.compile(rf"\[\s*({_NUMBER}(?:,\s*{_NUMBER})*)\s*\]")


def to_text(results: StudyResults) -> str:
    """Return the JSON text of `results`: UTF-8 characters kept, no NaN literal, final newline.

    A list of numbers, such as a curve, stands on one line.
    """
    text = json.dumps(study_record(results), ensure_ascii=False, indent=1, allow_nan=False)
    return _NUMBERS.sub(lambda found: "[" + " ".join(found[1].split()) + "]", text) + "\n"


def study_record(results: StudyResults) -> dict[str, Any]:
    """Return the whole of a run as plain values."""
    return {
        "schema": SCHEMA,
        "study": {
            "title": results.title,
            "joint": results.joint,
            "invented": results.invented,
        },
        "options": KEYS.write(results.options),
        "answer": KEYS.write(answer_of(results)),
        "trials": [trial_record(trial) for trial in results.trials],
        **{
            KEYS.key(item): KEYS.write(getattr(results, item.name))
            for item in topic_fields(type(results))
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
