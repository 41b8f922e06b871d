"""Several instruments on one recording: a refusal blames none that the others clear."""

import pickle
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from twinangle.analysis.common_cycles import Seen
from twinangle.analysis.whose_clock import with_whose_clock
from twinangle.clocks import LagStep, Stepped, StepTold, StepWarned, manual
from twinangle.clocks.stepped import UNDECIDED
from twinangle.clocks.windows import WindowedLags, line_warnings
from twinangle.notices import Notice, gravity_of, kind_of, size_of
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet
from twinangle.study.instruments import Part

GOOD = CycleSet(
    np.arange(20.0, 80.0), np.arange(21.0, 81.0), ("",) * 60,
    np.ones((60, 101)), np.ones((60, 101)), "given",
)  # fmt: skip


def seen(wearable, reference, size_s=0.0, before_s=0.0, cycles=GOOD, se_s=float("nan")):
    """Return a pair that keeps to one clock, or was refused for a step at 50 s of the wearable."""
    result = TrialResult("P1", "1", "indoor", "", "right", "angle", "ok")
    if size_s:
        after_s = before_s + size_s
        step = LagStep(50.0, 48.0, 52.0, before_s, after_s, 30.0, 0.01, size_se_s=se_s)
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


def test_a_step_of_one_file_has_one_size_whoever_tells_it():
    pairs = [
        seen("A", "gonio"), seen("A", "optical", before_s=1.4),
        seen("B", "gonio", 0.405, 0.27, se_s=0.02), seen("B", "optical", 0.4, 0.935, se_s=0.01),
    ]  # fmt: skip
    told = reason(pairs, "B", "gonio")
    assert told.startswith("B.csv seems to have repeated 0.400 s")
    assert "take 0.400 (± 0.010 s, by the pair with optical.csv, which tells it best)" in told
    assert "0.405" not in told
    assert "take 0.400 (± 0.010 s) from" in reason(pairs, "B", "optical")
    unknown = [*pairs[:2], seen("B", "gonio", 0.405), seen("B", "optical", 0.4)]
    for reference in ("gonio", "optical"):  # as for steps between bouts
        assert "take 0.405" in reason(unknown, "B", reference)


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


def warned(wearable, reference, size_s):
    """Return a pair whose lag steps by so little that it is warned of."""
    step = LagStep(50.0, 48.0, 52.0, 0.0, size_s, float("nan"), float("nan"))
    sources = (f"{wearable}.csv", f"{reference}.csv")
    text = StepWarned(f"the lags step. {UNDECIDED} Analyse the parts.", Stepped(step, sources))
    one = seen(wearable, reference)
    clock = replace(one.results[0].synchronisation, warnings=(text,))
    result = replace(one.results[0], synchronisation=clock, warnings=(text, "other."))
    return replace(one, results=(result,))


def test_a_step_that_is_warned_of_is_laid_to_whom_the_others_show():
    pairs = [warned("B", "gonio", 0.03), seen("A", "gonio"), warned("B", "optical", 0.04)]
    result = with_whose_clock(pairs)[0].results[0]
    assert result.warnings[1] == "other."
    for told in (result.warnings[0], result.synchronisation.warnings[0]):
        assert told.startswith("the lags step. At fault is B.csv. gonio.csv keeps to one clock ")
        assert "the lag to optical.csv" not in told
        assert "the lag to 'optical' steps there by as much: leave gonio.csv as it is." in told
        assert told.endswith("Analyse the parts.")
        assert (kind_of(told), gravity_of(told)) == ("clock-step", "grave")
        assert size_of(told) == pytest.approx(0.03)


def test_a_step_that_is_warned_of_stays_open_where_the_others_do_not_decide():
    alone = [warned("B", "gonio", 0.03)]
    both = [warned("B", "gonio", 0.03), seen("A", "gonio"), seen("B", "optical")]
    for pairs in (alone, both):
        (told, _) = with_whose_clock(pairs)[0].results[0].warnings
        assert UNDECIDED in told
        assert "At fault" not in told


def test_windowed_lags_that_step_know_where_on_the_wearables_clock():
    times = np.arange(0.0, 100.0, 5.0)
    lags = np.where(times > 48.0, 2.04, 2.0) + 1e-4 * np.cos(times)
    windows = WindowedLags(times, lags, np.ones(times.size))
    (told,) = line_warnings(windows, drift=True, sources=("B.csv", "gonio.csv"))
    step = told.found.step
    assert (step.first_s, step.last_s) == pytest.approx((47.0, 52.0), abs=0.01)
    assert step.size_s == pytest.approx(0.04, abs=0.002)
    assert told.undecided in told
    assert type(pickle.loads(pickle.dumps(told))) is Notice
