"""Several instruments on one recording: a refusal blames none that the others clear."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from twinangle.analysis.common_cycles import Seen
from twinangle.analysis.whose_clock import with_whose_clock
from twinangle.clocks import LagStep, Stepped, StepTold, manual
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet
from twinangle.study.instruments import Part

GOOD = CycleSet(
    np.arange(20.0, 80.0), np.arange(21.0, 81.0), ("",) * 60,
    np.ones((60, 101)), np.ones((60, 101)), "given",
)  # fmt: skip


def seen(wearable, reference, size_s=0.0, before_s=0.0, cycles=GOOD):
    """Return a pair that keeps to one clock, or was refused for a step at 50 s of the wearable."""
    result = TrialResult("P1", "1", "indoor", "", "right", "angle", "ok")
    if size_s:
        step = LagStep(50.0, 48.0, 52.0, before_s, before_s + size_s, 30.0, 0.01)
        reason = StepTold(Stepped(step, (f"{wearable}.csv", f"{reference}.csv")))
        result = replace(result, status="failed", reason=reason)
    else:
        result = replace(result, synchronisation=manual(before_s, 0.0), cycles=cycles)
    part = Part(wearable, reference, SimpleNamespace())
    return Seen(part, SimpleNamespace(), (result,))


def reason(pairs, wearable, reference):
    for one in with_whose_clock(pairs):
        if (one.part.wearable, one.part.reference) == (wearable, reference):
            return one.results[0].reason
    raise AssertionError


def test_a_device_that_restarted_does_not_blame_two_sound_references():
    pairs = [
        seen("A", "gonio"), seen("A", "optical", before_s=1.4),
        seen("B", "gonio", 0.4, 0.27), seen("B", "optical", 0.405, 0.935),
    ]  # fmt: skip
    for reference in ("gonio", "optical"):
        told = reason(pairs, "B", reference)
        assert told.startswith("B.csv seems to have repeated 0.40")
        assert f"{reference}.csv keeps to one clock with 'A' all through that time" in told
        assert f"leave {reference}.csv as it is" in told
        assert "add 0.4" not in told


def test_a_reference_that_lost_samples_does_not_blame_a_sound_wearable():
    pairs = [
        seen("A", "gonio", 0.1), seen("A", "optical"),
        seen("B", "gonio", 0.1), seen("B", "optical"),
    ]  # fmt: skip
    told = reason(pairs, "B", "gonio")
    assert told.startswith("gonio.csv seems to have lost 0.100 s")
    assert "leave B.csv as it is" in told
    assert "add 0.100 to its times" in told


def test_one_reference_and_two_wearables_decide():
    pairs = [seen("A", "gonio"), seen("B", "gonio", -0.2)]
    assert reason(pairs, "B", "gonio").startswith("B.csv seems to have lost 0.200 s")


@pytest.mark.parametrize(
    "pairs",
    [
        [seen("B", "gonio", 0.1)],
        # moved on one side of the place alone
        [seen("B", "gonio", 0.1), seen("A", "gonio", cycles=CycleSet(
            GOOD.start_s[:25], GOOD.end_s[:25], ("",) * 25, np.ones((25, 101)),
            np.ones((25, 101)), "given"))],
        # each of the two is cleared by another
        [seen("B", "gonio", 0.1), seen("A", "gonio"), seen("B", "optical")],
    ],
)  # fmt: skip
def test_where_the_others_do_not_decide_neither_is_blamed(pairs):
    told = reason(pairs, "B", "gonio")
    assert "do not tell which" in told
    assert "Mend" not in told
