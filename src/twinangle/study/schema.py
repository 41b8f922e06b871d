"""The study file as a JSON schema, for editors: completion, a key's meaning, faults while typing.

It follows from the models that read the file, so that neither can be without the other. What
several keys say together (a method's own keys) is judged by `twinangle check` alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from pydantic import TypeAdapter

from twinangle.declare import declared_of
from twinangle.study.section import Section
from twinangle.study.section_faults import BY_KIND, PLAIN_SECTIONS, SECTIONS

SCHEMA_FILE = "study.schema.json"
EDITOR_LINE = f"#:schema ./{SCHEMA_FILE}"
"""The first line of a study file whose folder holds the schema: what editors of TOML look for."""

NEEDED = ("study", "wearable")

# What `with_cycle_defaults` fills in depends on other keys.
DEPENDS = {
    ("cycles", "method"): '"shank-gyroscope" in walking with a gyroscope, else "angle-peak"',
    ("cycles", "movement"): '"walking" for a knee, "exercise" for an elbow',
    ("cycles", "turns"): "true in walking, false otherwise",
}


def study_schema() -> dict[str, Any]:
    """Return the schema (JSON Schema, draft 2020-12) of what `study.toml` holds."""
    sections: dict[str, Any] = {}
    parts: dict[str, Any] = {}
    for name in SECTIONS:
        kinds = BY_KIND.get(name) or {"": PLAIN_SECTIONS[name]}
        made = [_model_schema(name, model, parts) for model in kinds.values()]
        sections[name] = made[0] if len(made) == 1 else {"type": "object", "oneOf": made}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Study file of twinangle",
        "type": "object",
        "properties": sections,
        "required": list(NEEDED),
        "additionalProperties": False,
        "$defs": dict(sorted(parts.items())),
    }


def schema_text() -> str:
    """Return the schema as the text of its file."""
    return json.dumps(study_schema(), ensure_ascii=False, indent=1) + "\n"


def _model_schema(section: str, model: type[Section], parts: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a section, and put those of its subsections among the parts."""
    made = TypeAdapter(model).json_schema()
    for each in _sections_of(model):
        own = made if each is model else made["$defs"][each.__name__]
        _complete(own, each, section if each is model else "")
    parts.update(made.pop("$defs", {}))
    return made


def _sections_of(model: type[Section]) -> Iterator[type[Section]]:
    yield model
    for each in model.model_fields.values():
        for kind in (each.annotation, *getattr(each.annotation, "__args__", ())):
            if isinstance(kind, type) and issubclass(kind, Section):
                yield from _sections_of(kind)


def _complete(made: dict[str, Any], model: type[Section], section: str) -> None:
    """Put in what is declared of each key, and take out what TOML does not have."""
    made.pop("title", None)
    made.pop("description", None)
    for name, each in model.model_fields.items():
        said = declared_of(each.metadata)
        unit = f" ({said.unit})" if said.unit else ""
        depends = DEPENDS.get((section, name))
        made["properties"][name] = {
            **_without_null(made["properties"][name], keep_default=depends is None),
            "description": said.meaning + unit + (f"; left out: {depends}" if depends else ""),
        }
        if depends and name in made.get("required", ()):
            made["required"].remove(name)
    if not made.get("required", True):
        del made["required"]


def _without_null(made: dict[str, Any], *, keep_default: bool) -> dict[str, Any]:
    """Return a key's schema without the null that stands for a key left out."""
    made = {key: value for key, value in made.items() if key != "title"}
    if "$ref" in made or made.get("default", 0) is None or not keep_default:
        made.pop("default", None)
    choices = [each for each in made.pop("anyOf", ()) if each != {"type": "null"}]
    return (
        {**made, **choices[0]}
        if len(choices) == 1
        else made | ({"anyOf": choices} if choices else {})
    )
