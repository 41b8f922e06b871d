"""The tables of cycles and bouts say what the cycles themselves say."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from twinangle.cycles import bout_units
from twinangle.results import TrialResult
from twinangle.results.tables.cycles import bout_rows, cycle_rows
from twinangle.signals.recording import CycleSet

FAILED = TrialResult("P2", "1", "indoor", "1", "left", "vqf", "failed", "no overlap")


def cycles_of_two_bouts():
    points = np.linspace(0, 2 * np.pi, 101)
    wearable = np.array([30 + size * np.sin(points) for size in (20, 21, 22, 25, 26)])
    return CycleSet(
        start_s=np.array([0.0, 1.0, 2.0, 10.0, 11.5]),
        end_s=np.array([1.0, 2.0, 3.1, 11.5, 13.0]),
        reason=("", "", "turn: 90°", "", ""),
        wearable_deg=wearable,
        reference_deg=0.5 * wearable,
        method="angle-peak",
        bout=np.array([1, 1, 1, 2, 2]),
    )


def trial_with(cycles):
    return replace(FAILED, participant="P1", status="ok", reason="", cycles=cycles)


def test_one_row_a_cycle_with_its_bout_and_reason():
    rows = list(cycle_rows((trial_with(cycles_of_two_bouts()), FAILED)))

    assert [(row.participant, row.cycle, row.bout, row.kept) for row in rows] == [
        ("P1", 0, 1, True), ("P1", 1, 1, True), ("P1", 2, 1, False), ("P1", 3, 2, True),
        ("P1", 4, 2, True),
    ]  # fmt: skip
    assert rows[2].reason == "turn: 90°"
    assert_allclose(rows[2].duration_s, 1.1)
    assert_allclose(rows[3].wearable_peak, 55.0, atol=0.01)
    assert_allclose(rows[3].reference_range, 25.0, atol=0.01)


def test_one_row_a_bout_as_the_bouts_themselves_say():
    cycles = cycles_of_two_bouts()
    rows = list(bout_rows((trial_with(cycles), FAILED)))

    assert [(row.participant, row.bout, row.found, row.kept) for row in rows] == [
        ("P1", 1, 3, 2), ("P1", 2, 2, 2),
    ]  # fmt: skip
    assert [row.offset for row in rows] == [unit.offset_deg for unit in bout_units(cycles)]


def test_numbers_of_a_bout_by_hand():
    first, second = bout_units(cycles_of_two_bouts())

    assert (first.strides.n_kept, first.strides.n_found) == (2, 3)
    assert_allclose(first.strides.cycles_per_minute, 60.0)
    # curves of sizes 20 and 21: their SD at each point is |sin| / √2, on average 2/π/√2
    wave = np.sin(np.linspace(0, 2 * np.pi, 101))
    sines = np.abs(wave).mean() / np.sqrt(2)
    assert_allclose([first.wearable_sd_deg, second.wearable_sd_deg], sines)
    assert_allclose(first.reference_sd_deg, 0.5 * sines)
    # wearable minus reference: 15 + 10.25 sin, of which the mean goes
    assert_allclose(first.offset_deg, 15.0)
    assert_allclose(first.rms_demeaned_deg, 10.25 * np.sqrt(np.mean(wave**2)))


def test_a_bout_of_which_nothing_is_kept_stays_listed():
    cycles = cycles_of_two_bouts()
    dropped = CycleSet(
        start_s=cycles.start_s, end_s=cycles.end_s, reason=("", "", "", "gap", "gap"),
        wearable_deg=cycles.wearable_deg, reference_deg=None, method="angle-peak", bout=cycles.bout,
    )  # fmt: skip

    first, second = bout_units(dropped)

    assert second.strides.n_kept == 0
    assert np.isnan([second.wearable_sd_deg, second.offset_deg, first.offset_deg]).all()
