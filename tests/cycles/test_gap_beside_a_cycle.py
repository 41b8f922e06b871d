"""A gap that ends between two samples, where a cycle begins, takes that cycle and no trial."""

import numpy as np
import pytest

from twinangle.cycles import find_cycles
from twinangle.signals.recording import PairedAngles

RATE_HZ = 100.0


@pytest.mark.parametrize("lost", [200, 201])
def test_the_cycles_beside_a_lost_sample_are_dropped_and_the_curves_whole(lost):
    time = np.arange(2000) / RATE_HZ
    angle = 30 - 30 * np.cos(2 * np.pi * time / 1.0)
    angle[lost] = np.nan
    paired = PairedAngles(wearable_deg=angle, reference_deg=None, start_s=0.0, rate_hz=RATE_HZ)
    events = 0.005 + np.arange(19)  # the third, 2.005 s, lies between samples 200 and 201
    found = find_cycles(paired, method="events", events_s=events)
    assert np.isfinite(found.wearable_deg[found.kept]).all()
    assert [k for k, text in enumerate(found.reason) if "gap" in text] == [1, 2]
    assert any("beside its start or end" in text for text in found.reason)
