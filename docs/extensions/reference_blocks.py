"""The parts of the reference that follow from the code: commands, study file, results, tables.

`make reference` writes commands and study file between the marks of their pages, which are
committed, so that they can be read where no site is built; a test holds them to what this module
gives. The long lists of results and tables come into their pages while the site is built.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import is_dataclass
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

import numpy as np
import typer
from typer.main import get_command

from twinangle.cli import app
from twinangle.declare import DATA, DATA_SQUARED, Declared, derived
from twinangle.formats import FORMATS
from twinangle.options import Options
from twinangle.results import model
from twinangle.results.answer import Answer
from twinangle.results.plain import _fields, _owner, _records
from twinangle.results.serialise import KEYS, topic_fields
from twinangle.results.tables import TABLES
from twinangle.results.tables.columns import columns_of
from twinangle.results.tables.cycle_points import CyclePoint, TraceSample
from twinangle.study.schema import DEPENDS, schema_text, study_schema

DOCS = Path(__file__).parents[1]
SCHEMA = DOCS / "reference" / "study.schema.json"
MARKED = re.compile(r"(<!-- made by `make reference`: (.+?) -->\n).*?(<!-- end -->)", re.DOTALL)


BUILT = re.compile(r"<!-- made while the site is built: (\w+) -->\n")
KINDS = {
    " <int range>": " N",
    " <int>": " N",
    " <float range>": " X",
    " <float>": " X",
    " <path>": " PATH",
    " <str>": " TEXT",
    " <list[str]>": " TEXT",
    " <list[float]>": " X",
}
LIMIT = re.compile(r"(?:([\d.]+)<=)?x(?:>=([\d.]+)|<=([\d.]+))")


def rows_of(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Return a table in Markdown."""
    lines = [head, tuple("---" for _ in head), *rows]
    return "".join(
        f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in row)} |\n" for row in lines
    )


def commands() -> str:
    """Return every command with its arguments and options, as the terminal's help has them."""
    group = get_command(app)
    return "\n".join(_command(name, each) for name, each in sorted(group.commands.items()))  # type: ignore[attr-defined]


def _command(name: str, command: Any) -> str:
    context = typer.Context(command, info_name=f"twinangle {name}")
    shown = [_parameter(each, each.get_help_record(context)) for each in command.params]
    needed = [given.strip("`") for given, default, _ in shown if default == "needed"]
    usage = " ".join((f"twinangle {name}", *needed, "[options]"))
    text = f"## `twinangle {name}`\n\n{(command.help or '').strip()}\n\n```text\n{usage}\n```\n"
    return text + "\n" + rows_of(("argument or option", "if left out", "meaning"), shown)


def _parameter(each: Any, record: tuple[str, str]) -> tuple[str, str, str]:
    """Return one row from what the terminal's help says of a parameter."""
    given, said = record
    said, _, rest = said.partition("  [")
    for kind, word in KINDS.items():
        given = given.replace(kind, word)
    if each.param_type_name == "argument":
        given = given.split()[0].upper()
    facts = [fact for fact in rest.removesuffix("]").split("; ") if fact]
    default = next((f"`{fact[9:]}`" for fact in facts if fact.startswith("default: ")), "")
    limits = ", ".join(_limit(fact) for fact in facts if LIMIT.fullmatch(fact))
    said = f"{said} ({limits})" if limits else said
    return f"`{given}`", "needed" if each.required else default, said


def _limit(fact: str) -> str:
    low, alone, high = LIMIT.fullmatch(fact).groups()  # type: ignore[union-attr]
    return f"{low} to {high}" if high else f"{alone} or more"


def section(path: str) -> str:
    """Return the keys of a section: `study`, `wearable inertial` or, of a part, `SensorUnits`."""
    whole = study_schema()
    name, _, kind = path.partition(" ")
    made = whole["$defs"].get(name) or whole["properties"][name]
    if kind:
        made = next(each for each in made["oneOf"] if each["properties"]["kind"]["const"] == kind)
    needed = made.get("required", ())
    properties = sorted(made["properties"].items(), key=lambda item: item[0] != "kind")
    rows = [_key(name, key, each, key in needed) for key, each in properties]
    return rows_of(("key", "accepted", "if left out", "meaning"), rows)


def _key(name: str, key: str, made: dict[str, Any], needed: bool) -> tuple[str, str, str, str]:
    if needed:
        default = "refused"
    elif (name, key) in DEPENDS:
        default = DEPENDS[name, key]
    else:
        default = _toml(made["default"]) if "default" in made else ""
    meaning, _, _ = made["description"].partition("; left out: ")
    return f"`{key}`", _accepted(made), default, meaning


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'`"{value}"`'
    if isinstance(value, list | tuple):
        return f"`[{', '.join(_toml(each).strip('`') for each in value)}]`"
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _accepted(made: dict[str, Any]) -> str:
    """Return in words what a key takes."""
    if "$ref" in made:
        return "a section"
    if "enum" in made or "const" in made:
        return ", ".join(_toml(each) for each in made.get("enum", [made.get("const")]))
    kinds: dict[str, Callable[[], str]] = {
        "string": lambda: "text",
        "boolean": lambda: "true, false",
        "integer": lambda: "whole number",
        "number": lambda: f"number{_bounds(made)}",
        "array": lambda: _list(made),
        "object": lambda: "names and texts",
    }
    return kinds[made["type"]]()


def _bounds(made: dict[str, Any]) -> str:
    words = {
        "exclusiveMinimum": "above",
        "minimum": "from",
        "exclusiveMaximum": "below",
        "maximum": "to",
    }
    return "".join(f" {word} {made[key]:g}" for key, word in words.items() if key in made)


def _list(made: dict[str, Any]) -> str:
    if "prefixItems" in made:
        return f"list of {len(made['prefixItems'])}: {_accepted(made['prefixItems'][0])}"
    least, most = made.get("minItems"), made.get("maxItems")
    size = f"{least} " if least is not None and least == most else ""
    return f"list of {size}{_accepted(made['items'])}".replace("text", "texts")


def results() -> str:
    """Return every key of `results.json` with its unit and meaning, a section a kind of record."""
    whole = [
        ("options", "what the statistics were asked for", Options),
        ("answer", "the answer in numbers, as the first page says it", Answer),
        ("trials", "a list: every trial under every procedure", model.TrialResult),
    ]
    topics = [
        (KEYS.key(item), item.quantity.meaning, item.hint)
        for item in topic_fields(model.StudyResults)
    ]
    rest = [
        (KEYS.key(item), item.quantity.meaning, item.hint)
        for item in _fields(model.StudyResults)
        if item.name in ("recordings_pooled", "decisions", "without_decisions")
    ]
    head = [
        ("`schema`", "whole number", "version of this form"),
        ("`study`", "record", "`title`, `joint`, `invented` as in the study file"),
        *((f"`{key}`", _type(hint), said) for key, said, hint in (*whole, *topics, *rest)),
        ("`notes`", "list of texts", "what to know of the run as a whole"),
        (
            "`provenance`",
            "record",
            "`version`; `inputs`, every file with its SHA-256; `parameters`, every setting",
        ),
    ]
    text = rows_of(("key", "holds", "meaning"), head)
    for kind in _records_below([hint for _, _, hint in (*whole, *topics, *rest)]):
        text += f"\n## {_title(kind)}\n\n{_first_line(kind)}\n\n"
        text += rows_of(("key", "holds", "unit", "meaning"), _record_rows(kind))
    return text


def _title(kind: Any) -> str:
    inner = get_args(kind)
    return f"{_owner(kind).__name__} of {_title(inner[0])}" if inner else _owner(kind).__name__


def _first_line(kind: Any) -> str:
    return (_owner(kind).__doc__ or "").strip().split("\n\n")[0].replace("\n    ", " ")


def _declared_in(kind: Any) -> tuple[Declared, ...]:
    try:
        beside = derived(_owner(kind))
    except NameError:
        beside = ()
    return (*_fields(kind), *beside)


def _record_rows(kind: Any, prefix: str = "") -> Iterator[tuple[str, str, str, str]]:
    for item in _declared_in(kind):
        if item.spread is not None:
            for part in _records(item.hint):
                yield from _record_rows(part, prefix + item.spread.prefix)
            continue
        unit = {DATA: "deg", DATA_SQUARED: "deg²"}.get(item.quantity.unit, item.quantity.unit)
        yield f"`{prefix}{KEYS.key(item)}`", _type(item.hint), unit, item.quantity.meaning


def _type(hint: Any) -> str:
    """Return in words what stands under a key."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return ", or ".join(
            dict.fromkeys("null" if each is NoneType else _type(each) for each in inner)
        )
    if is_dataclass(_owner(hint)):
        title = _title(hint)
        return f"[{title}](#{title.lower().replace(' ', '-')})"
    if hint is np.ndarray or origin is np.ndarray:
        return "list of numbers"
    if origin is Literal:
        return ", ".join(f'`"{each}"`' if isinstance(each, str) else str(each) for each in inner)
    if origin is tuple and inner == (float, float):
        return "two numbers"
    if origin in (tuple, list):
        return f"list: {_type(inner[0])}"
    if origin is not None:  # a mapping
        return f"by name: {_type(inner[1])}"
    return {str: "text", float: "number", int: "whole number", bool: "true, false"}.get(
        hint, "any value"
    )


def _inner_records(hint: Any) -> Iterator[Any]:
    if is_dataclass(_owner(hint)):
        yield hint
    else:
        for each in get_args(hint):
            yield from _inner_records(each)


def _records_below(hints: Iterable[Any]) -> list[Any]:
    """Return every kind of record within hints, each once, in the order of reading."""
    found: dict[str, Any] = {}

    def visit(kind: Any) -> None:
        if _title(kind) in found:
            return
        found[_title(kind)] = kind
        for part in _parts(kind):
            visit(part)

    for hint in hints:
        for kind in _inner_records(hint):
            visit(kind)
    return list(found.values())


def _parts(kind: Any) -> Iterator[Any]:
    for item in _declared_in(kind):
        inner = list(_inner_records(item.hint))
        if item.spread is None:
            yield from inner
        else:  # its keys stand in the whole's own record
            for part in inner:
                yield from _parts(part)


def tables() -> str:
    """Return every table's columns with type, unit and meaning."""
    described = [(f"{table.name}.csv", table.meaning, table.columns) for table in TABLES]
    described += [
        ("cycles.parquet", "curves of every cycle found, a point a row", columns_of(CyclePoint)),
        (
            "traces.parquet",
            "both instruments on one clock, a sample a row",
            columns_of(TraceSample),
        ),
    ]
    text = ""
    for name, meaning, columns in described:
        rows = ((f"`{each.name}`", each.kind, each.unit, each.meaning) for each in columns)
        text += f"### `{name}`\n\n{meaning[:1].upper()}{meaning[1:]}.\n\n"
        text += rows_of(("column", "type", "unit", "meaning"), rows) + "\n"
    return text.rstrip("\n") + "\n"


def endings() -> str:
    """Return the endings of file names that are read."""
    return ", ".join(f"`{end}`" for each in FORMATS for end in each.suffixes) + "\n"


COMMITTED: dict[str, Callable[[], str]] = {
    "commands": commands,
    "endings": endings,
}
AT_BUILD: dict[str, Callable[[], str]] = {"results": results, "tables": tables}


def block(name: str) -> str:
    """Return what stands between the marks of that name."""
    return (
        section(name.removeprefix("keys of ")) if name.startswith("keys of ") else COMMITTED[name]()
    )


def renewed(text: str) -> str:
    """Return a page with every marked block as the code has it."""
    return MARKED.sub(lambda found: f"{found[1]}\n{block(found[2])}\n{found[3]}", text)


def _put_in(app: Any, page: str, source: list[str]) -> None:
    """Put the long lists into a page that is being built."""
    source[0] = BUILT.sub(lambda found: AT_BUILD[found[1]](), source[0])


def setup(app: Any) -> dict[str, bool]:
    """Listen for pages that are read, as an extension of Sphinx."""
    app.connect("source-read", _put_in)
    return {"parallel_read_safe": True, "parallel_write_safe": True}


def main() -> None:
    """Write the schema and every marked block."""
    SCHEMA.write_text(schema_text(), encoding="utf-8", newline="\n")
    for page in sorted(DOCS.glob("*/*.md")):
        text = page.read_text(encoding="utf-8")
        if MARKED.search(text):
            page.write_text(renewed(text), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
