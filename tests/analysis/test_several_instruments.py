"""Two wearables and two references on the same walks, with every error and clock known.

The angles are simulated: nobody was recorded.
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle import read_results, read_study, run_study
from twinangle.analysis import check_study
from twinangle.plotting import plot_limits
from twinangle.plotting.instruments import draw_between
from twinangle.plotting.looks import drawing_style
from twinangle.report.instruments import instruments_section
from twinangle.results.answer_words import answer_sentences
from twinangle.results.changes import changes
from twinangle.results.serialise import to_text
from twinangle.results.tables import write_tables
from twinangle.simulate import ReferenceErrors, WalkSettings
from twinangle.simulate.together import Device, Instrument, simulate_together

# Constant errors of each participant; unrelated over the four, so that their variances are known.
OFFSETS = {
    "strap": (2.0, -2.0, 2.0, -2.0),
    "sleeve": (0.0, 0.0, 0.0, 0.0),
    "gonio": (1.0, 1.0, -1.0, -1.0),
    "optical": (0.5, -0.5, -0.5, 0.5),
}
BIAS = {"strap": 3.0, "sleeve": 1.0}
CLOCKS = {"strap": Device(), "sleeve": Device(shift_s=4.3, drift_ppm=-30.0)}
NOISY = ReferenceErrors(gain=1.0, offset_deg=0.0, noise_deg=0.4, slow_drift_deg=0.0)
REFERENCES = {
    "gonio": Instrument(lag_s=2.1, errors=NOISY, rate_hz=100.0),
    "optical": Instrument(lag_s=-1.2, errors=NOISY, rate_hz=100.0),
}
STUDY = """\
[study]
title = "Two devices and two references (invented)"
joint = "knee"
trials = "trials.csv"
invented = true

[wearables.strap]
kind = "angle"
time = "time_s"
angles = { plain = "knee_deg", flat = "flat_deg" }

[wearables.sleeve]
kind = "angle"
time = "time_s"
angles = { plain = "knee_deg", flat = "flat_deg" }

"""
REFERENCE = """\
[references.{name}]
kind = "angle"
time = "time_s"
angle = "knee_deg"

"""


def write_study(folder: Path, people: int = 4, references=("gonio", "optical")) -> Path:
    """Write the study; the sleeve reads a gain of 0.95 and "flat" of either one of 0.9."""
    rows = []
    for k in range(people):
        walk = simulate_together(
            seed=40 + k, settings=WalkSettings(walk_s=36.0, straight_m=80.0, stride_cv=0.03),
            devices={}, references={name: REFERENCES[name] for name in references},
        )  # fmt: skip
        row = {"participant": f"P{k + 1}"}
        for name, device in CLOCKS.items():
            angle = walk.true_deg.angle_deg * (0.95 if name == "sleeve" else 1.0)
            angle = angle + np.random.default_rng(k).normal(0, 0.4, angle.size)
            error = OFFSETS[name][k] + BIAS[name]
            row[f"wearable_{name}"] = f"{k}_{name}.csv"
            frame = {
                "time_s": device.stamps(walk.true_deg.time_s),
                "knee_deg": angle + error,
                "flat_deg": 0.9 * angle + error,
            }
            pd.DataFrame(frame).round(4).to_csv(folder / f"{k}_{name}.csv", index=False)
            ends = device.stamps(np.array([walk.walking.start_s, walk.walking.end_s]))
            row[f"wearable_{name}_start_s"], row[f"wearable_{name}_end_s"] = ends.round(2)
            row[f"wearable_{name}_mask"] = ""
        for name, read in walk.references.items():
            row[f"reference_{name}"] = f"{k}_{name}.csv"
            frame = {"time_s": read.time_s, "knee_deg": read.angle_deg + OFFSETS[name][k]}
            pd.DataFrame(frame).round(4).to_csv(folder / f"{k}_{name}.csv", index=False)
        rows.append(row)
    middle = rows[0]["wearable_sleeve_start_s"] + 10
    rows[0]["wearable_sleeve_mask"] = f"{middle:.1f}-{middle + 0.5:.1f} slipped"
    pd.DataFrame(rows).to_csv(folder / "trials.csv", index=False)
    text = STUDY + "".join(REFERENCE.format(name=name) for name in references)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder / "study.toml"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return read_study(write_study(tmp_path_factory.mktemp("several")))


@pytest.fixture(scope="module")
def results(study):
    return run_study(study)


def of(results, name):
    return [trial for trial in results.trials if trial.procedure == name]


def test_each_wearable_is_clocked_against_each_reference(results):
    assert {trial.status for trial in results.trials} == {"ok"}
    for wearable, device in CLOCKS.items():
        for reference, instrument in REFERENCES.items():
            for trial in of(results, f"{wearable} · plain · against {reference}"):
                truth = instrument.lag_s + device.shift_s
                assert trial.synchronisation.lag_s == pytest.approx(truth, abs=0.02)


def test_a_cycle_masked_for_one_wearable_counts_for_none_and_is_counted(results):
    first = [t for t in results.trials if t.participant == "P1" and "gonio" in t.procedure]
    counts = {trial.common.n_cycles for trial in first}
    assert len(counts) == 1
    reasons = {one.reason: one.n_cycles for one in first[0].common.left_out}
    assert reasons["left out for sleeve, masked"] >= 1
    strap = next(trial for trial in first if trial.wearable == "strap")
    assert counts.pop() == strap.cycles.kept.sum() - reasons["left out for sleeve, masked"]


def test_ranking_is_over_wearable_and_procedure_against_each_reference(results):
    assert [pooled.procedure for pooled in results.ranking] == [
        " · against gonio", " · against optical",
    ]  # fmt: skip
    contest = results.ranking[0].value
    order = [place.procedure.removesuffix(" · against gonio") for place in contest.standings]
    assert order == ["strap · plain", "sleeve · plain", "strap · flat", "sleeve · flat"]
    assert len(contest.differences) == 6
    # a gain of 0.95 leaves 0.05 of the SD of the mean curve
    sleeve = of(results, "sleeve · plain · against gonio")
    expected = np.mean([0.05 * trial.agreement.reference_mean.std() for trial in sleeve])
    assert contest.standings[1].mean == pytest.approx(expected, rel=0.05)


def test_two_wearables_differ_first_minus_second(results):
    for pair in results.pairs:
        if pair.kind == "wearables" and pair.procedure == "plain":
            truth = CLOCKS["strap"].shift_s - CLOCKS["sleeve"].shift_s
            assert pair.lag == pytest.approx(truth, abs=0.02)
            assert pair.drift == pytest.approx(30, abs=20)
    found = next(
        one for one in results.between
        if (one.first, one.second, one.procedure, one.quantity)
        == ("strap", "sleeve", "plain", "mean_deg")
    )  # fmt: skip
    mean = np.mean(
        [t.agreement.reference_mean.mean() for t in of(results, results.trials[0].procedure)]
    )
    assert found.value.bias == pytest.approx(2.0 + 0.05 * mean, abs=0.15)


def test_references_are_held_against_each_other(results):
    found = [one for one in results.between if one.kind == "references"]
    assert [(one.first, one.second) for one in found] == [("gonio", "optical")] * 3
    mean = next(one for one in found if one.quantity == "mean_deg").value
    apart = np.subtract(OFFSETS["gonio"], OFFSETS["optical"])
    assert mean.bias == pytest.approx(apart.mean(), abs=0.05)
    assert mean.sd == pytest.approx(apart.std(ddof=1), abs=0.1)


def test_errors_of_three_are_those_put_in(results):
    found = next(
        one.value for one in results.errors_of_three
        if (one.wearable, one.procedure, one.quantity) == ("strap", "plain", "mean_deg")
    )  # fmt: skip
    for error, name in zip(found.errors, ("strap", "gonio", "optical"), strict=True):
        assert error.sd == pytest.approx(np.std(OFFSETS[name], ddof=1), abs=0.08)
    assert found.share_second == pytest.approx(4 / (4 + 16), abs=0.03)
    assert found.share_third == pytest.approx(1 / (1 + 16), abs=0.03)


def test_what_references_explain_says_each_thing_once(results):
    said = str(instruments_section(results, {}))
    assert said.count("counted as an error of the wearable") == 1
    assert said.count("error cannot be told from none") == 1


def test_written_and_read_back_they_are_the_same(results, tmp_path):
    (tmp_path / "results.json").write_text(to_text(results), encoding="utf-8")
    (tmp_path / "tables").mkdir()
    write_tables(results, tmp_path / "tables")
    back = read_results(tmp_path)
    assert to_text(back) == to_text(results)
    first = json.loads(to_text(results))["trials"][0]
    assert (first["procedure"], first["device"], first["reference_name"]) == (
        "plain", "strap", "gonio",
    )  # fmt: skip
    table = pd.read_csv(tmp_path / "tables" / "limits_of_agreement.csv")
    assert list(table.columns[:3]) == ["wearable", "procedure", "reference_name"]
    assert set(table["wearable"]) == {"strap", "sleeve"}
    cycles = pd.read_parquet(tmp_path / "tables" / "cycles.parquet")
    assert set(cycles["wearable"]) == {"strap", "sleeve"}
    package = json.loads((tmp_path / "tables" / "datapackage.json").read_text("utf-8"))
    described = {one["path"]: one["schema"]["fields"] for one in package["resources"]}
    for path, fields in described.items():
        if path.endswith(".csv"):
            head = (tmp_path / "tables" / path).read_text("utf-8").split("\n")[0]
            assert head.split(",") == [field["name"] for field in fields]


def test_a_changed_wearable_is_told_apart_by_compare(results):
    moved = tuple(
        replace(trial, reason="other") if trial.wearable == "sleeve" else trial
        for trial in results.trials
    )
    found = changes(results, replace(results, trials=moved))
    assert found
    assert all("sleeve" in one.place for one in found)


def test_check_names_the_wearable(study, tmp_path):
    found = check_study(study)
    assert not found.faults
    assert len(found.trials) == 4 * len(study.parts)
    assert found.trials[0].label.endswith("strap, gonio")


def test_without_any_reference_wearables_are_held_against_each_other_alone(tmp_path):
    study = read_study(write_study(tmp_path, people=1, references=()))
    found = run_study(study)
    pair = next(one for one in found.pairs if one.procedure == "plain")
    assert pair.clock == "cross-correlation"
    assert pair.lag == pytest.approx(-4.3, abs=0.02)
    assert pair.offset == pytest.approx(2 + 2, abs=1.2)
    assert not found.limits
    assert not found.errors_of_three
    assert any("agreement between the wearables" in note for note in found.notes)
    assert "reference_name" not in to_text(found)


def test_one_wearable_writes_nothing_of_several(results, tmp_path):
    bare = replace(
        results, pairs=(), between=(), errors_of_three=(), ranking=(),
        trials=tuple(replace(t, procedure="plain", common=None) for t in results.trials[:1]),
    )  # fmt: skip
    record = json.loads(to_text(bare))
    several = {
        "pairs_of_instruments",
        "agreement_between_instruments",
        "errors_of_three_instruments",
    }
    assert not several & set(record)
    assert not {"device", "reference_name", "on_common_cycles"} & set(record["trials"][0])
    (tmp_path / "tables").mkdir()
    write_tables(bare, tmp_path / "tables")
    names = {path.stem for path in (tmp_path / "tables").glob("*.csv")}
    assert not names & {"common_cycles", "pairs_of_instruments"}
    assert "wearable" not in pd.read_csv(tmp_path / "tables" / "trials.csv").columns


def test_each_pair_has_its_bland_altman_plot_of_the_cycles_that_both_keep(results):
    with drawing_style():
        drawn = draw_between(results)
    assert [each.name for each in drawn] == [
        "between_strap_sleeve_plain_all", "between_strap_sleeve_flat_all",
        "between_gonio_optical_all",
    ]  # fmt: skip
    pairs = [one for one in results.pairs if one.procedure == "plain" and one.kind == "wearables"]
    for axes, one in zip(drawn[0].figure.axes, results.between[:3], strict=True):
        points = [line for line in axes.get_lines() if line.get_linestyle() == "None"]
        people = [line for line in points if line.get_label() in {"P1", "P2", "P3", "P4"}]
        assert sum(len(line.get_xdata()) for line in people) == sum(p.n_cycles for p in pairs)
        found = np.mean(np.concatenate([line.get_ydata() for line in people]))
        assert found == pytest.approx(one.difference.mean())
    assert drawn[0].figure.axes[0].get_ylabel() == "strap − sleeve (°)"
    assert "Agreement between the two, not accuracy of either" in drawn[0].caption
    assert drawn[0].alternative.startswith("strap minus sleeve, all, plain: mean over cycle")
    empty = replace(results.between[0], difference=np.zeros(0))
    with pytest.raises(ValueError, match="nothing to draw \\(written without the points\\)"):
        plot_limits(empty)


def test_the_answer_says_on_how_many_recordings_two_wearables_were_held_together(results):
    (said,) = [each for each in answer_sentences(results) if "accuracy of neither" in each]
    (found,) = [
        one.value
        for one in results.between
        if (one.kind, one.procedure, one.quantity) == ("wearables", "plain", "mean_deg")
    ]
    assert f"(4 participants, 4 recordings, {found.n_observations} cycles), strap minus" in said
