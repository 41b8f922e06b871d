"""One trial, then the study: the only place that knows the whole line."""

from __future__ import annotations

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
