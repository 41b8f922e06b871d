"""What a delay costs in RMS, on the stylised knee curve.

Golden values, recomputed: beforehand and apart from this code, from no paper: on
θ(p) = 3 + 14 g(p; .14, .06) + 59 g(p; .72, .09)°, g a Gaussian bump of height 1 (its centre and SD
in strides), stride 1.1 s, a pure delay costs an RMS of 0.175° per ms; 2, 5, 10, 20 and 50 ms cost
0.350, 0.875, 1.748, 3.489 and 8.594°.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.clocks import align, manual, timing_cost
from twinangle.signals.recording import AngleRecording, CycleSet

STRIDE_S = 1.1
RATE_HZ = 1000.0


def knee(phase):
    """Return the curve with its bumps wrapped, so that it has no step between strides."""
    p = np.mod(phase, 1.0)
    bumps = [(14, 0.14, 0.06), (59, 0.72, 0.09)]
    return 3 + sum(
        height * np.exp(-0.5 * ((p - centre + wrap) / width) ** 2)
        for height, centre, width in bumps
        for wrap in (-1, 0, 1)
    )


def walk_and_cycles(delay_s):
    time = np.arange(int(20 * STRIDE_S * RATE_HZ)) / RATE_HZ
    recording = AngleRecording(knee(time / STRIDE_S), 0.0, RATE_HZ, "stylised")
    paired = align(recording, recording, manual(delay_s))
    starts = STRIDE_S * np.arange(2, 14)
    points = np.linspace(0, 1, 101)
    curves = np.tile(knee(points), (starts.size, 1))
    cycles = CycleSet(starts, starts + STRIDE_S, ("",) * starts.size, curves, curves, "test")
    return paired, cycles


@pytest.mark.parametrize(
    ("delay_ms", "rms_deg"), [(2, 0.350), (5, 0.875), (10, 1.748), (20, 3.489), (50, 8.594)]
)
def test_rms_of_a_pure_delay(delay_ms, rms_deg):
    paired, cycles = walk_and_cycles(delay_ms / 1000)

    cost = timing_cost(paired, cycles, 0.0)

    # The table rounds to 0.001; its 0 and 100 % are both of the 101 points.
    assert_allclose(cost.rms_deg, rms_deg, rtol=0.006)


def test_one_millisecond_of_lag_error_costs_0_175_degrees():
    paired, cycles = walk_and_cycles(0.0)

    cost = timing_cost(paired, cycles, 0.001)

    assert_allclose(cost.rms_deg, 0.0, atol=1e-3)
    assert_allclose(cost.change_deg, 0.175, atol=0.0015)
    assert_allclose([cost.earlier_deg, cost.later_deg], 0.175, atol=0.0015)
