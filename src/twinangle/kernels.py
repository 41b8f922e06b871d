"""Compiled functions, kept on disk under a key that holds everything they were made from.

numba keeps a function's machine code beside its source and makes it anew when that one file
changes. A compiled function that calls another, or uses a number from another module, would go on
with the old one. Here the code of a module lies in a folder named by a digest of the module, of
every module of this package that it imports, directly or through others, and of numba's version.
"""

from __future__ import annotations

import ast
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numba
from numba import njit

from twinangle.platform_calls import user_cache

PACKAGE = Path(__file__).parent
KEPT = 16
"""Folders kept, a folder for each module with compiled functions and each of its last states:
enough for several states, and for several versions of Python or numba in turn."""
_PREFIX = "kernels-"
_numba: Any = numba.config  # its attributes are made at run time


def compiled(function: Callable[..., Any]) -> Any:
    """Compile `function` when it is first called, and keep the machine code on disk.

    Divisions follow IEEE 754, as in numpy: without checks, which take time to compile and to run.
    Where no folder can be written the code is compiled in every process.
    """
    folder = cache_folder(Path(function.__code__.co_filename))
    if folder is None:
        return njit(error_model="numpy")(function)
    before = _numba.CACHE_DIR
    try:
        # numba asks for the folder once, while it decorates
        _numba.CACHE_DIR = str(folder)
        return njit(cache=True, error_model="numpy")(function)
    finally:
        _numba.CACHE_DIR = before


def kept_on_disk(module: ModuleType) -> bool:
    """Return whether machine code of a module with compiled functions is kept already."""
    folder = cache_folder(Path(str(module.__file__)))
    return folder is not None and any(folder.rglob("*.nbi"))


@cache
def cache_folder(module: Path) -> Path | None:
    """Return the folder of a module's machine code, made if need be; None where none can be.

    It lies in what `NUMBA_CACHE_DIR` names, else beside the package, else, where that cannot be
    written, in the user's own cache. A module whose source cannot be read has none.
    """
    if not (module.is_file() and module.is_relative_to(PACKAGE)):
        return None
    name = _PREFIX + digest(module)
    for root in _roots():
        folder = root / name
        try:
            new = not folder.exists()
            folder.mkdir(parents=True, exist_ok=True)
            tempfile.TemporaryFile(dir=folder).close()  # a folder may be there and not writable
        except OSError:
            continue
        with suppress(OSError):
            os.utime(folder)
        if new:
            sweep(root)
        return folder
    return None


def digest(module: Path, package: Path = PACKAGE) -> str:
    """Return twelve hexadecimal digits of SHA-256 over sources and numba's version."""
    total = hashlib.sha256(numba.__version__.encode())
    for path in sorted(reached(module, package)):
        total.update(path.relative_to(package).as_posix().encode())
        total.update(hashlib.sha256(path.read_bytes()).digest())
    return total.hexdigest()[:12]


def reached(module: Path, package: Path = PACKAGE) -> set[Path]:
    """Return a module's file and those of the package that it imports, directly or through others.

    Imports inside functions count too; a module that is named at run time is not seen.
    """
    found: set[Path] = set()
    ahead = [module]
    while ahead:
        path = ahead.pop()
        if path in found or not path.is_file():
            continue
        found.add(path)
        for name in _named(path.read_bytes(), path, package):
            place = package.parent.joinpath(*name.split("."))
            ahead += [place.with_suffix(".py"), place / "__init__.py"]
    return found


@cache  # modules with compiled functions import the same others
def _named(source: bytes, path: Path, package: Path) -> tuple[str, ...]:
    """Return the full names that a source imports and that may be modules of the package."""
    nodes = ast.walk(ast.parse(source))
    return tuple(name for node in nodes for name in _imported(node, path, package))


def _imported(node: ast.AST, path: Path, package: Path) -> list[str]:
    """Return the full names in an import statement that may be modules of the package."""
    if isinstance(node, ast.Import):
        names = [alias.name for alias in node.names]
    elif isinstance(node, ast.ImportFrom):
        parts = path.relative_to(package.parent).parts[: -node.level] if node.level else ()
        base = ".".join([*parts, *([node.module] if node.module else [])])
        names = [base, *(f"{base}.{alias.name}" for alias in node.names)]
    else:
        return []
    return [name for name in names if name.split(".")[0] == package.name]


def sweep(root: Path, keep: int = KEPT) -> None:
    """Delete all but the `keep` folders of machine code in `root` that were used last.

    A process that still works with one of the others makes it anew when it next compiles.
    """
    folders = []
    for folder in root.glob(f"{_PREFIX}*"):
        with suppress(OSError):  # another process may sweep at the same time
            folders.append((folder.stat().st_mtime_ns, folder))
    for _, folder in sorted(folders, reverse=True)[keep:]:
        shutil.rmtree(folder, ignore_errors=True)


def _roots() -> list[Path]:
    """Return where machine code may be kept, in the order of preference."""
    if _numba.CACHE_DIR:
        return [Path(_numba.CACHE_DIR)]
    return [PACKAGE / "__pycache__", user_cache() / PACKAGE.name]
