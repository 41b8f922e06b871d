"""Short real walks without magnetometers: signs mended, placed on a clock that is known.

Camargo et al. 2021, J Biomech 119:110320 (from memory; licence not confirmed, so not in the
repository). Sensors and cameras shared a clock but for 15 to 20 ms; the second
stretches each file cut to the circuit walked.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from twinangle.clocks import synchronise
from twinangle.signals.recording import AngleRecording, InertialRecording, Interval, SensorPair
from twinangle.wearable.procedure_input import WearableTrial
from twinangle.wearable.procedures import estimate_motion

DATA = Path(__file__).resolve().parents[2] / "../shared/data/walking-knee-optical"
LAG_S, DRIFT_PPM = 3.7, 60.0
WALKS = {  # the circuit, standing, and what the authors filled in
    "ccw_normal_02": ((11.9, 27.0), (12.0, 12.55), (24.1, 24.7)),
    "cw_slow_05": ((16.0, 39.5), (36.8, 39.2), None),
}


def read(name: str) -> tuple[SensorPair, AngleRecording]:
    """Return both sensors, the thigh's accelerometer mended, and the knee on its own clock."""
    (low, high), _, masked = WALKS[name]
    table, knee = (
        np.genfromtxt(DATA / f"{name}_{kind}.csv.gz", delimiter=",", skip_header=1)
        for kind in ("imu", "knee")
    )
    inside = (table[:, 0] >= low) & (table[:, 0] <= high)
    table = table[inside]
    if masked is not None:
        table[(table[:, 0] >= masked[0]) & (table[:, 0] <= masked[1]), 1:] = np.nan
    start_s = float(table[0, 0])
    thigh, shank = (
        InertialRecording(
            sign * 9.80665 * table[:, k : k + 3],
            table[:, k + 3 : k + 6],
            None,
            start_s,
            200.0,
            name,
        )
        for k, sign in ((1, -1.0), (7, 1.0))
    )
    scale = 1 + DRIFT_PPM * 1e-6
    angle = AngleRecording(-knee[:, 1], (knee[0, 0] - LAG_S) / scale, 200.0 * scale, "knee")
    return SensorPair(thigh, shank), angle


@pytest.mark.parametrize("name", list(WALKS))
def test_a_short_walk_is_placed_and_given_no_drift_that_clocks_do_not_have(name):
    if not DATA.exists():
        pytest.skip("../shared/data/walking-knee-optical is absent")
    sensors, reference = read(name)
    trial = WearableTrial(walk=sensors, static=Interval(*WALKS[name][1]))
    angle = estimate_motion(trial, "vqf-joint-centre").angle

    clock = synchronise(replace(angle, source="wearable"), reference)

    assert abs(clock.drift_ppm - DRIFT_PPM) < 100
    assert clock.to_wearable(np.array(20.0)) - 20 == pytest.approx(LAG_S + 0.015, abs=0.01)
    assert clock.warnings == ()
