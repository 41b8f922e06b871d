"""A walk with a known true knee angle, as two instruments would record it.

:func:`simulate_walk` returns one trial with its truth; :func:`write_demo_study` writes an
invented study as ordinary files. Nothing here comes from a recorded person.
"""

from twinangle.simulate.demo import write_demo_study
from twinangle.simulate.instruments import ReferenceErrors, SensorErrors
from twinangle.simulate.walk import SimulatedTrial, SimulatedTruth, WalkSettings, simulate_walk

__all__ = [
    "ReferenceErrors",
    "SensorErrors",
    "SimulatedTrial",
    "SimulatedTruth",
    "WalkSettings",
    "simulate_walk",
    "write_demo_study",
]
