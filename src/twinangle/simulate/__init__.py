"""Movements with a known true joint angle, as two instruments would record them.

:func:`simulate_walk` and :func:`simulate_exercise` return one trial with its truth;
:func:`write_demo_study` writes an invented study as ordinary files. Nothing here comes from a
recorded person.
"""

from twinangle.simulate.demo import write_demo_study
from twinangle.simulate.exercise import ExerciseSettings, SimulatedExercise, simulate_exercise
from twinangle.simulate.instrument_signals import ReferenceErrors, SensorErrors
from twinangle.simulate.together import simulate_together, write_together_study
from twinangle.simulate.walk import SimulatedTrial, SimulatedTruth, WalkSettings, simulate_walk

__all__ = [
    "ExerciseSettings",
    "ReferenceErrors",
    "SensorErrors",
    "SimulatedExercise",
    "SimulatedTrial",
    "SimulatedTruth",
    "WalkSettings",
    "simulate_exercise",
    "simulate_together",
    "simulate_walk",
    "write_demo_study",
    "write_together_study",
]


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
