"""One trial, then the study: the only place that knows the whole line."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from twinangle.analysis.checking import check_study, declared_faults
    from twinangle.analysis.compiling import compile_ahead, load_ahead
    from twinangle.analysis.finding_standing import propose_standing, write_standing
    from twinangle.analysis.study import (
        files_for,
        input_files,
        own_procedures,
        pool_study,
        run_study,
    )
    from twinangle.analysis.trial import analyse_trial

_HOME = {
    "analyse_trial": "trial",
    "check_study": "checking",
    "compile_ahead": "compiling",
    "declared_faults": "checking",
    "files_for": "study",
    "input_files": "study",
    "load_ahead": "compiling",
    "own_procedures": "study",
    "pool_study": "study",
    "propose_standing": "finding_standing",
    "run_study": "study",
    "write_standing": "finding_standing",
}

__all__ = [
    "analyse_trial",
    "check_study",
    "compile_ahead",
    "declared_faults",
    "files_for",
    "input_files",
    "load_ahead",
    "own_procedures",
    "pool_study",
    "propose_standing",
    "run_study",
    "write_standing",
]


def __getattr__(name: str) -> Any:
    """Import a function on first use: a rerun that takes a recording as kept analyses none."""
    if name not in _HOME:
        raise AttributeError(f"module 'twinangle.analysis' has no attribute {name!r}")
    return getattr(import_module(f"twinangle.analysis.{_HOME[name]}"), name)
