"""A step of the lag: which file is at fault is said only as far as something tells."""

import pickle
from dataclasses import replace

import numpy as np
import pytest

from twinangle.clocks import Fault, LagStep, Stepped, StepTold
from twinangle.clocks.band import BandLimited
from twinangle.clocks.search import period, prepare
from twinangle.clocks.stepped import UNDECIDED, gaps_of
from twinangle.clocks.steps import find_step
from twinangle.signals.recording import Interval
from twinangle.signals.timing import Breaks

RATE_HZ = 50.0


def recording(name, *gaps, seconds=100.0):
    """Return an angle with gaps from one time to another."""
    time = np.arange(seconds * RATE_HZ) / RATE_HZ
    values = np.sin(time)
    for start_s, end_s in gaps:
        values[(time > start_s) & (time < end_s)] = np.nan
    return BandLimited(values, 0.0, RATE_HZ, f"{name}.csv")


def step(size_s, before_s=2.0):
    return LagStep(50.0, 48.0, 52.0, before_s, before_s + size_s, 30.0, 0.01)


def test_a_gap_is_found_with_its_length():
    (gap,) = gaps_of(recording("B", (49.0, 50.92), (20.0, 20.05)))
    assert (gap.start_s, gap.length_s) == (pytest.approx(49.0), pytest.approx(1.92))


@pytest.mark.parametrize(("size_s", "mend"), [(0.4, "take 0.400 from"), (-0.4, "add 0.400 to")])
def test_a_gap_in_the_wearable_gives_it_away(size_s, mend):
    """A restart: too long a gap sets the wearable's clock ahead, too short a one back."""
    worn, reference = recording("B", (49.0, 50.92)), recording("gonio")
    told = Stepped.between(step(size_s), worn, reference).told()
    assert told.startswith("B.csv seems to have had its clock set")
    assert "B.csv has a gap of 1.92 s" in told
    assert f"Mend the file: {mend} its times from 50.92 s on" in told


@pytest.mark.parametrize(("size_s", "mend"), [(0.4, "add 0.400 to"), (-0.4, "take 0.400 from")])
def test_a_gap_in_the_reference_gives_it_away_on_its_own_clock(size_s, mend):
    worn, reference = recording("B"), recording("gonio", (47.0, 48.5))  # 2 s behind
    told = Stepped.between(step(size_s), worn, reference).told()
    assert told.startswith("gonio.csv seems to have had its clock set")
    assert f"Mend the file: {mend} its times from 48.50 s on" in told


@pytest.mark.parametrize(
    "worn",
    [
        recording("B"),
        recording("B", (70.0, 72.0)),  # elsewhere
        recording("B", (50.0, 50.2)),  # its clock cannot have leapt by more than its gap
        recording("B", *((k, k + 0.6) for k in range(5, 95, 3))),  # one is there by chance
    ],
)
def test_without_evidence_neither_file_is_blamed(worn):
    told = Stepped.between(step(0.4), worn, recording("gonio")).told()
    assert "Either gonio.csv lost 0.400 s" in told
    assert "or B.csv" in told
    assert UNDECIDED in told
    assert "Mend" not in told


@pytest.mark.parametrize(
    ("stride_s", "told"), [(1.1, True), (2.2, True), (0.8, False), (np.nan, False)]
)
def test_a_step_of_half_a_stride_may_be_the_other_side(stride_s, told):
    """Files of left and right exchanged: standing and squats agree, walking does half a stride off.

    That the sides follow each other by half a stride is common practice, no source.
    """
    half = replace(step(0.56), stride_s=stride_s)
    known = Fault("wearable", "The lag to 'mocap' steps there by as much.")
    for worn in (recording("A"), recording("A", (49.0, 51.0))):
        for fault in (None, known):
            said = Stepped.between(half, worn, recording("gonio")).told(fault)
            assert ("see first whether left and right were exchanged" in said) == told


def test_gaps_in_both_decide_nothing():
    worn, reference = recording("B", (49.0, 51.0)), recording("gonio", (47.0, 49.0))
    told = Stepped.between(step(0.4), worn, reference).told()
    assert "Both have a gap there." in told
    assert "Mend" not in told


def test_what_other_instruments_say_goes_before_a_gap():
    found = Stepped.between(step(0.4), recording("B", (49.0, 51.0)), recording("gonio"))
    told = StepTold(found, "", Fault("reference", "B.csv keeps to one clock with 'optical'."))
    assert told.startswith("gonio.csv seems to have lost 0.400 s")
    assert "add 0.400 to its times" in told
    assert str(StepTold(found, weigh_gaps=False)).count("Mend") == 0
    copy = pickle.loads(pickle.dumps(told))
    assert (type(copy), copy) == (str, str(told))


@pytest.mark.parametrize(
    ("end_s", "size", "sure"),
    [
        (49.4124, "0.4046 s", "take 0.4046 from its times from 49.41 s on (the gap in them less"),
        # samples are missing by more than the lags allow; and no gap in the times as they stand
        (49.4396, "0.402 s", "take 0.402 (± 0.006 s) from its times from 49.44 s on"),
        (None, "0.402 s", "take 0.402 (± 0.006 s) from its times from 49.42 s on"),
    ],
)
def test_a_gap_as_long_as_the_step_tells_its_size_by_the_times_of_the_file(end_s, size, sure):
    """A logger's clock set ahead, and no sample missing: the gap is one interval more."""
    own = replace(step(0.402), size_se_s=0.006)
    found = Stepped.between(own, recording("B", (49.0, 49.42)), recording("gonio"))
    stamps = () if end_s is None else (Interval(20.0, 20.3), Interval(49.0, end_s))
    told = found.by_stamps((Breaks(stamps, 1 / 128), Breaks())).told()
    assert told.startswith(f"B.csv seems to have had its clock set ahead by {size} at")
    assert sure in told
    if size != "0.402 s":  # one size alone
        assert "0.402" not in told.replace("+2.402 s behind", "")


@pytest.mark.parametrize("seed", range(4))
def test_the_size_of_a_step_lies_within_its_error(walking, seed):
    """Own simulation: of 150 such pairs 135 lay within one of it, all within 2.1."""
    drawn = walking.PairSettings(lag_s=3.217, overlap_s=40.0, extra_s=2.0, locked_deg=1.5)
    wearable, reference = walking.make_pair(np.random.default_rng(seed), drawn)
    lost = replace(wearable, angle_deg=np.delete(wearable.angle_deg, slice(2000, 2013)))
    a, b, _ = prepare(lost, reference)
    found = find_step(a, b, 3.217, stride_s=period(b.values, b.rate_hz))
    assert 0.001 < found.size_se_s < 0.03
    assert abs(found.size_s + 0.13) < 2 * found.size_se_s
