from __future__ import annotations

import numpy as np
import pytest

from twinangle.simulate import ReferenceErrors, SensorErrors, SimulatedTrial, simulate_walk


@pytest.fixture(scope="session")
def perfect_trial() -> SimulatedTrial:
    """Return a short trial without any instrument's error, at a rate fit for integration."""
    return simulate_walk(
        rng=np.random.default_rng(11),
        walk_s=18.0,
        straight_m=8.0,
        rate_hz=500.0,
        sensor_errors=SensorErrors.none(),
        reference_errors=ReferenceErrors.none(),
    )


@pytest.fixture(scope="session")
def usual_trial() -> SimulatedTrial:
    """Return a trial of the usual length and rate, with the usual errors."""
    return simulate_walk(rng=np.random.default_rng(5))
