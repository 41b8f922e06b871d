"""Recordings that are too short for curves of their own, with and without cycles (all invented)."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from twinangle.agreement import compare_curves, cycle_variability
from twinangle.analysis import check_study
from twinangle.analysis.study import pool_study
from twinangle.analysis.trial import analyse_trial
from twinangle.closing import print_closing
from twinangle.report.content import supplement_content
from twinangle.results.equality import same_results
from twinangle.results.reading import results_of
from twinangle.results.serialise import to_text
from twinangle.study import read_study

STUDY = """
[study]
title = "Invented short walks"
joint = "knee"
trials = "trials.csv"
invented = true
[wearable]
kind = "angle"
time = "time_s"
angle = "w"
[reference]
kind = "angle"
time = "time_s"
angle = "r"
[synchronisation]
method = "shared-clock"
"""
HEAD = "participant,condition,trial,wearable,reference,static_start_s,static_end_s\n"


def walk(n_cycles, seed, *, rest_s=4.0, rate_hz=50.0):
    """Return times, the wearable's and the reference's angle of a few steps between rests."""
    rng = np.random.default_rng(seed)
    time = np.arange(int((2 * rest_s + n_cycles * 1.1) * rate_hz)) / rate_hz
    phase = (time - rest_s) / 1.1
    size = 60 + 2 * rng.standard_normal(n_cycles + 1)
    inside = (phase >= 0) & (phase < n_cycles)
    number = np.clip(phase.astype(int), 0, n_cycles)
    bump = size[number] * np.exp(-0.5 * ((phase % 1 - 0.6) / 0.11) ** 2) * inside
    reference = bump + rng.normal(0, 0.05, time.size)
    return time, reference + 1.5 + 0.02 * bump + rng.normal(0, 0.05, time.size), reference


def write_study(folder, cycles_by_trial, more=""):
    rows = []
    for k, (who, n) in enumerate(cycles_by_trial):
        time, wearable, reference = walk(n, 10 + k)
        frame = pd.DataFrame({"time_s": time, "w": wearable, "r": reference})
        frame.to_csv(folder / f"{k}.csv", index=False, float_format="%.4f")
        rows.append(f"{who},hall,{k},{k}.csv,{k}.csv,0.2,3.0\n")
    (folder / "trials.csv").write_text(HEAD + "".join(rows))
    (folder / "study.toml").write_text(STUDY + more)
    return read_study(folder)


def analysed(study):
    trials = [result for trial in study.trials for result in analyse_trial(study, trial)]
    return pool_study(study, tuple(replace(trial, paired=None) for trial in trials))


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Two people with three walks of four to five strides; one with a single walk."""
    trials = [(who, n) for who in ("P01", "P02") for n in (5, 5, 6)] + [("P03", 5)]
    return analysed(write_study(tmp_path_factory.mktemp("short"), trials))


def test_cycles_of_short_walks_are_pooled_by_person(results):
    by_person = {one.participant: one for one in results.recordings_pooled}
    assert [t.status for t in results.trials[:2]] == ["pooled", "pooled"]
    first = by_person["P01"]
    mine = [t.cycles for t in results.trials if t.participant == "P01"]
    wearable = np.concatenate([c.wearable_deg[c.kept] for c in mine])
    reference = np.concatenate([c.reference_deg[c.kept] for c in mine])
    assert first.trials == ("0", "1", "2")
    assert first.n_cycles == wearable.shape[0] >= 6
    expected = compare_curves(wearable, reference)
    assert_allclose(first.agreement.offset, expected.offset)
    assert_allclose(first.agreement.rms_demeaned, expected.rms_demeaned)
    assert_allclose(first.variability.wearable.sd, cycle_variability(wearable).sd)


def test_each_person_counts_once_in_what_is_pooled_further(results):
    limits = [one.value for one in results.limits if one.quantity == "mean_deg"]
    kept = sum(one.n_cycles for one in results.recordings_pooled if not one.reason)
    assert limits[0].limits.n_participants == 2
    assert limits[0].limits.n_observations == kept


def test_where_pooling_is_not_possible_the_reason_is_told(results):
    last = results.recordings_pooled[-1]
    assert last.participant == "P03"
    assert last.agreement is None
    assert "Pooled over this person's 1 short recording" in last.reason
    alone = results.trials[-1]
    assert alone.status == "failed"
    assert "at least 3 are needed" in alone.reason
    assert last.reason in alone.reason
    # sample by sample the recording says something all the same
    assert_allclose(alone.over_time.offset, 1.5, atol=0.4)


def test_sample_by_sample(results, tmp_path):
    for trial in results.trials:
        found = trial.over_time
        assert 0.1 < found.rms_demeaned < 1.0
        assert found.duration_s > 12
    # nothing moves like a cycle: no curves, yet a difference over time
    study = write_study(tmp_path, [("P01", 1)])
    (still,) = analysed(study).trials
    assert still.status == "failed"
    assert "No cycle found" in still.reason or "could be kept" in still.reason
    assert_allclose(still.over_time.offset, 1.5, atol=0.4)
    # the stretch to analyse bounds it
    table = study.folder / "trials.csv"
    head, row = table.read_text().splitlines()
    table.write_text(f"{head},start_s,end_s\n{row},4.0,6.0\n")
    (part,) = analysed(read_study(study.folder)).trials
    assert_allclose(part.over_time.duration_s, 2.0, atol=0.05)


def test_results_read_back_and_are_told(results, tmp_path, capsys):
    record = json.loads(to_text(results))
    assert record["recordings_pooled"][0]["agreement"]["rms_demeaned_deg"] > 0
    assert record["trials"][0]["over_time"]["rms_demeaned_deg"] > 0
    assert same_results(results_of(record).recordings_pooled, results.recordings_pooled)
    print_closing(results, tmp_path)
    told = capsys.readouterr().out
    assert "P01 hall (angle): 3 recordings pooled" in told
    shown = json.dumps(supplement_content(results, {}), ensure_ascii=False)
    assert "Short recordings, pooled" in shown
    assert "RMS over time" in shown


def test_all_cycles_stand_beside_the_kept(tmp_path):
    """One cycle half as large is left out; what that did to the SD is told."""
    time, _, reference = walk(20, 3)
    odd = (time > 4 + 9 * 1.1) & (time < 4 + 10 * 1.1)
    reference = np.where(odd, 0.5 * reference, reference)
    pd.DataFrame({"time_s": time, "w": reference + 1.0, "r": reference}).to_csv(
        tmp_path / "one.csv", index=False
    )
    (tmp_path / "trials.csv").write_text(HEAD + "P01,hall,1,one.csv,one.csv,0.2,3.0\n")
    (tmp_path / "study.toml").write_text(STUDY)
    results = analysed(read_study(tmp_path))
    (trial,) = results.trials
    effect, cycles = trial.exclusions, trial.cycles
    assert effect.n_outliers >= 1
    assert effect.n_all > cycles.kept.sum()
    kept_sd = trial.variability.wearable.sd
    assert_allclose(effect.test_sd_all + effect.test_sd_change, kept_sd)
    assert effect.test_sd_change < -0.5
    shown = json.dumps(supplement_content(results, {}), ensure_ascii=False)
    assert f"{cycles.kept.sum()} / {effect.n_all} ({effect.n_outliers})" in shown
    assert f"{effect.test_sd_change:.2f}".replace("-", "−") in shown


def test_overrides_alone_and_one_outside_every_cycle(tmp_path):
    """A section with overrides alone takes the defaults; a time in no cycle is found by check."""
    more = '[cycles]\noverrides = "hand.csv"\n'
    hand = tmp_path / "hand.csv"
    hand.write_text("participant,time_s,decision,reason\nP01,8.0,exclude,spoke\n")
    study = write_study(tmp_path, [("P01", 14)], more)
    assert (study.cycles.method, study.cycles.movement) == ("angle-peak", "walking")
    assert check_study(study).faults == ()
    hand.write_text("participant,time_s,decision,reason\nP01,1.0,exclude,spoke\n")
    (fault,) = check_study(study).faults
    assert "trials.csv, row 2: No cycle was found at 1 s" in fault
    hand.write_text("participant,time_s,decision,reason\nP01,now,exclude,spoke\n")
    (fault,) = check_study(study).faults
    assert "hand.csv, row 2, column 'time_s'" in fault
