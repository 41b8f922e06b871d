"""The text of a study file: read within limits, parsed, and the line of every key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any, cast

from twinangle.checks import LARGEST
from twinangle.errors import StudyError, closed

MOST_BYTES = 1 << 20  # of a study file


DEEPEST = 20  # sections and lists within each other; a study needs four


_TOO_DEEP = f"{{}}: holds sections or lists more than {DEEPEST} deep; a study needs four at most."


# A key of many parts takes the library's reader time that grows with their square.
_QUOTED = re.compile(r"\"(?:[^\"\\\n]|\\.)*+\"|'[^'\n]*+'")


_LONG_KEY = re.compile(rf"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){{{2 * DEEPEST}}}")


def read_text(path: Path) -> str:
    """Return the text of a study file.

    Raises
    ------
    StudyError
        If there is none, or it is too large or no UTF-8.
    """
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise StudyError(
                f"{path}: has {size} bytes; a study file has {MOST_BYTES} at most. Is it one?"
            )
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise StudyError(
            f"{path}: there is no such file; give the path of a study file, or of the folder "
            "that holds study.toml."
        ) from None
    except UnicodeDecodeError as error:
        raise StudyError(
            f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text."
        ) from None
    except OSError as error:
        raise StudyError(f"{path}: cannot be read: {error.strerror}.") from None


def _is_it_one(path: Path) -> str:
    return "" if path.suffix.lower() == ".toml" else " Is it a study file (study.toml)?"


def parsed(text: str, path: Path) -> dict[str, Any]:
    """Return the sections of a study file, lists as tuples.

    Raises
    ------
    StudyError
        If it is no TOML, lies too deep, or holds a number that cannot be computed with.
    """
    if not text.strip():
        raise StudyError(f"{path.name}: is empty; `twinangle init FOLDER` drafts a study file.")
    if _LONG_KEY.search(_QUOTED.sub("q", text)):
        raise StudyError(_TOO_DEEP.format(path.name))
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        hint = " (write paths with /, not \\)" if "\\" in text else ""
        raise StudyError(
            f"{path.name}: is not valid TOML: {error}{hint}.{_is_it_one(path)}"
        ) from None
    except RecursionError:
        raise StudyError(_TOO_DEEP.format(path.name)) from None
    except ValueError as error:  # a whole number of thousands of digits
        said = f"{path.name}: holds a number that cannot be read: {closed(error)}"
        raise StudyError(said) from None
    _refuse_absurd(data, path.name)
    return cast(dict[str, Any], _tuples(data))


def _refuse_absurd(data: dict[str, Any], name: str) -> None:
    """Refuse what lies too deep to be walked through, and numbers too large to compute with."""
    layer: list[tuple[str, Any]] = list(data.items())
    for _ in range(DEEPEST):
        for key, value in layer:
            if isinstance(value, int | float) and abs(value) > LARGEST:
                raise StudyError(
                    f"{name}: `{key}` holds a number beyond ±{LARGEST:g}; give a smaller one."
                )
        layer = [(inner, each) for key, value in layer for inner, each in _parts_of(key, value)]
        if not layer:
            return
    raise StudyError(_TOO_DEEP.format(name))


def _parts_of(key: str, value: Any) -> Iterable[tuple[str, Any]]:
    """Return what a section or a list holds, with the nearest key."""
    if isinstance(value, dict):
        return value.items()
    return [(key, each) for each in value] if isinstance(value, list) else ()


def _tuples(value: Any) -> Any:
    """Turn lists into tuples: the strict models want the frozen kind."""
    if isinstance(value, list):
        return tuple(_tuples(each) for each in value)
    if isinstance(value, dict):
        return {key: _tuples(each) for key, each in value.items()}
    return value


def key_lines(text: str) -> dict[tuple[str, ...], int]:
    """Return the line of each table header and key; a dotted key counts for its parents too."""
    lines: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[+\s*([^\[\]]+?)\s*\]+\s*(#.*)?$", line)
        key = re.match(r"\s*((?:[\w-]++|\"[^\"]*+\"|'[^']*+'|\s*+\.\s*+)++)\s*=", line)
        if header:
            table = _parts(header[1])
            keys = table
        elif key:
            keys = (*table, *_parts(key[1]))
        else:
            continue
        for size in range(1, len(keys) + 1):
            lines.setdefault(keys[:size], number)
    return lines


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))
