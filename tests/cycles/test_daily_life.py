"""Hours of daily life with walking bouts: from the files to bouts that are units of their own.

The recording is invented: stylised strides in bouts with pauses of unequal length between.
"""

import json

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle import read_study, run_study
from twinangle.cycles import bout_units
from twinangle.report.content import recordings_section
from twinangle.report.methods import methods_paragraphs

HOURS, RATE_HZ, LAG_S, DRIFT_PPM = 2.0, 25.0, 6.5, 45.0
# start (s), strides, stride time (s): the fourth bout is of three strides, the seventh slow
BOUTS = [
    (200, 30, 1.05), (900, 14, 1.10), (1300, 60, 1.00), (2100, 4, 1.15), (3000, 25, 1.12),
    (4100, 18, 1.08), (5200, 40, 1.30), (6500, 22, 1.03),
]  # fmt: skip
STUDY = """
[study]
title = "Daily life"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[reference]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[synchronisation]
max_lag_s = 20.0
[cycles]
method = "angle-peak"
"""


def knee(time_s, rng):
    """A swing and a stance bump for every stride of every bout; 5 degrees of standing between."""
    angle = np.full(time_s.size, 5.0)
    for start, n, stride in BOUTS:
        lengths = stride * (1 + 0.02 * rng.standard_normal(n))
        sizes = 1 + 0.02 * rng.standard_normal(n)
        begins = start + np.concatenate([[0], np.cumsum(lengths)])
        for begin, length, size in zip(begins, lengths, sizes, strict=False):
            near = np.abs(time_s - begin) < 3 * length
            phase = (time_s[near] - begin) / length
            swing = 58 * np.exp(-0.5 * ((phase - 0.72) / 0.09) ** 2)
            angle[near] += size * (swing + 14 * np.exp(-0.5 * ((phase - 0.14) / 0.06) ** 2))
    return angle


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("daily")
    rng = np.random.default_rng(31)
    fine = np.arange(0, HOURS * 3600, 1 / 50.0)
    truth = knee(fine, rng)
    time_w = np.arange(0, HOURS * 3600 - 60, 1 / RATE_HZ)
    wearable = np.interp(time_w, fine, truth) + 4.0 + 0.4 * rng.standard_normal(time_w.size)
    time_r = np.arange(0, HOURS * 3600 - 90, 1 / RATE_HZ)
    on_wearable = time_r * (1 + DRIFT_PPM * 1e-6) + LAG_S
    reference = np.interp(on_wearable, fine, truth) + 0.2 * rng.standard_normal(time_r.size)
    for name, time_s, angle in (("w", time_w, wearable), ("r", time_r, reference)):
        table = pd.DataFrame({"time_s": time_s, "knee_deg": angle})
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.3f")
    (folder / "study.toml").write_text(STUDY)
    (folder / "trials.csv").write_text(
        "participant,condition,wearable,reference\nD01,home,w.csv,r.csv\n"
    )
    return run_study(read_study(folder / "study.toml"))


def test_the_clock_holds_over_hours_of_rest(results):
    clock = results.trials[0].synchronisation

    times = np.array([200.0, 3500.0, 7000.0])
    assert_allclose(clock.to_wearable(times), times * (1 + DRIFT_PPM * 1e-6) + LAG_S, atol=0.005)


def test_the_methods_say_how_well_the_lag_is_known(results):
    text = " ".join(methods_paragraphs(results))
    error = results.trials[0].synchronisation.centre_lag_se_s

    assert (
        f"The lag's total standard error at the middle of the overlap was {1e3 * error:.2f} ms"
        in text
    )
    assert "gyroscopes" not in text


def test_every_bout_is_found_numbered_and_kept(results):
    trial = results.trials[0]
    units = bout_units(trial.cycles)

    assert [unit.strides.bout for unit in units] == list(range(1, len(BOUTS) + 1))
    for unit, (start, n, stride) in zip(units, BOUTS, strict=True):
        summary = unit.strides
        assert abs(summary.start_s - start) < 2 * stride
        # n peaks bound n - 1 cycles, of which the first and the last beside standing are left out
        assert summary.n_found == n - 1
        assert max(n - 5, 0) <= summary.n_kept <= n - 3
        if summary.n_kept >= 10:
            assert_allclose(summary.cycles_per_minute, 60 / stride, rtol=0.02)
    assert not trial.cycles.kept[trial.cycles.bout == 0].any()


def test_bouts_are_compared_with_the_reference_one_by_one(results):
    units = [unit for unit in bout_units(results.trials[0].cycles) if unit.strides.n_kept >= 10]

    assert_allclose([unit.offset_deg for unit in units], 4.0, atol=0.2)
    assert max(unit.rms_demeaned_deg for unit in units) < 0.5
    # noise of 0.4 and 0.2 degrees, on top of what both instruments see
    added = [unit.wearable_sd_deg**2 - unit.reference_sd_deg**2 for unit in units]
    assert_allclose(added, 0.4**2 - 0.2**2, atol=0.05)


def test_bouts_stand_in_the_results_and_in_the_report(results):
    record = json.loads(json.dumps(results.to_json()))["trials"][0]["cycles"]
    units = bout_units(results.trials[0].cycles)
    blocks = recordings_section(results, None)
    shown = str(blocks)

    assert [bout["n_kept"] for bout in record["bouts"]] == [unit.strides.n_kept for unit in units]
    assert {cycle["bout"] for cycle in record["excluded"]} >= set(range(1, len(BOUTS) + 1))
    assert "Bouts" in shown
    few = sum(unit.strides.n_kept < 10 for unit in units)
    assert f"Of {len(BOUTS)} bouts, {few} keep fewer than 10 cycles" in shown
