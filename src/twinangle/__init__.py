"""A validation workbench for joint angles from inertial sensors.

Three lines from a notebook::

    from twinangle import read_study, run_study
    results = run_study(read_study("study.toml"))
    results.to_frame()

Every step can be called alone with arrays: see `twinangle.wearable`, `twinangle.clocks`,
`twinangle.cycles` and `twinangle.agreement`. Figures on axes of your own: `twinangle.plotting`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from twinangle import agreement, clocks, cycles, plotting, signals, simulate, wearable
    from twinangle.analysis import run_study
    from twinangle.errors import TwinangleError
    from twinangle.results import StudyResults, TrialResult
    from twinangle.results.read_back import read_results
    from twinangle.run import write_outputs
    from twinangle.simulate import write_demo_study
    from twinangle.study import AngleTrial, Study, read_study

__version__ = "0.1.0"

__all__ = [
    "AngleTrial",
    "Study",
    "StudyResults",
    "TrialResult",
    "TwinangleError",
    "__version__",
    "agreement",
    "clocks",
    "cycles",
    "plotting",
    "read_results",
    "read_study",
    "run_study",
    "signals",
    "simulate",
    "wearable",
    "write_demo_study",
    "write_outputs",
]

_PACKAGES = ("agreement", "clocks", "cycles", "plotting", "signals", "simulate", "wearable")
_HOME = {
    "AngleTrial": "twinangle.study",
    "Study": "twinangle.study",
    "StudyResults": "twinangle.results",
    "TrialResult": "twinangle.results",
    "TwinangleError": "twinangle.errors",
    "read_results": "twinangle.results.read_back",
    "read_study": "twinangle.study",
    "run_study": "twinangle.analysis",
    "write_demo_study": "twinangle.simulate",
    "write_outputs": "twinangle.run",
}


def __getattr__(name: str) -> Any:
    """Import a public name on first use, so that `twinangle --help` needs none of them."""
    if name in _PACKAGES:
        return import_module(f"twinangle.{name}")
    if name not in _HOME:
        raise AttributeError(f"module 'twinangle' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
