"""One wearable cuts the cycles of a recording for all: inertial sensors beside a device's angle.

The walks are simulated: nobody was recorded.
"""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study, run_study
from twinangle.analysis import analyse_trial
from twinangle.analysis.common_cycles import Seen, too_few_common
from twinangle.analysis.conditions_adjusted import pool as pool_adjusted
from twinangle.analysis.groups import group_trials
from twinangle.analysis.instruments import _with_own_cycles_told
from twinangle.analysis.study import _never_compared
from twinangle.closing import print_closing
from twinangle.cycles.carried import carried_cycles
from twinangle.cycles.daily_life import daily_life
from twinangle.cycles.day_strides import Strides
from twinangle.cycles.enough import reason_kind
from twinangle.errors import StudyError
from twinangle.notices import kind_of
from twinangle.plotting.daily_life import draw_daily_life
from twinangle.report.along_cycle import _region
from twinangle.report.blocks import figures_of
from twinangle.report.cycles import cycles_paragraph
from twinangle.report.daily_life import daily_life_section
from twinangle.report.exclusions import exclusions_section
from twinangle.report.instruments import instruments_section
from twinangle.results.answer_words import answer_sentences
from twinangle.results.grouping import cycles_left_out, procedures
from twinangle.results.instruments import LeftOut
from twinangle.results.not_recorded import not_recorded_sentences
from twinangle.signals.recording import MaskedStretch
from twinangle.simulate import ReferenceErrors, WalkSettings
from twinangle.simulate.demo_files import wearable_frame
from twinangle.simulate.together import Device, Instrument, simulate_together
from twinangle.wording import in_lines

SLEEVE = Device(shift_s=2.6, drift_ppm=-30.0)
OFF = 4.0  # degrees by which the sleeve reads too much
NOISY = ReferenceErrors(gain=1.0, offset_deg=0.0, noise_deg=0.3, slow_drift_deg=0.0)
STUDY = """\
[study]
title = "Sensors beside a device's angle (invented)"
joint = "knee"
trials = "trials.csv"
invented = true

[wearables.strap]
kind = "inertial"
time = "time_s"
procedures = ["vqf"]
units = { accelerometer = "m/s^2", gyroscope = "rad/s", magnetometer = "uT" }
[wearables.strap.proximal]
accelerometer = ["thigh_acc_x", "thigh_acc_y", "thigh_acc_z"]
gyroscope     = ["thigh_gyr_x", "thigh_gyr_y", "thigh_gyr_z"]
magnetometer  = ["thigh_mag_x", "thigh_mag_y", "thigh_mag_z"]
[wearables.strap.distal]
accelerometer = ["shank_acc_x", "shank_acc_y", "shank_acc_z"]
gyroscope     = ["shank_gyr_x", "shank_gyr_y", "shank_gyr_z"]
magnetometer  = ["shank_mag_x", "shank_mag_y", "shank_mag_z"]

[wearables.sleeve]
kind = "angle"
time = "time_s"
angle = "knee_deg"

[references.gonio]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[references.optical]
kind = "angle"
time = "time_s"
angle = "knee_deg"
"""


def write_walk(folder, name, seed):
    """Write one walk's files, and return its row of the trials table and the truth."""
    references = {"gonio": Instrument(2.1, 20.0, 100.0, NOISY)} if name == "indoor" else {}
    walk = simulate_together(
        seed=seed, settings=WalkSettings(walk_s=40.0, straight_m=12.0, stride_cv=0.03),
        devices={"strap": Device()}, references=references,
    )  # fmt: skip
    wearable_frame(walk.sensors["strap"]).to_csv(folder / f"{name}_strap.csv", index=False)
    angle = walk.true_deg.angle_deg + OFF
    angle = angle + np.random.default_rng(seed).normal(0, 0.3, angle.size)
    times = SLEEVE.stamps(walk.true_deg.time_s)
    sleeve = pd.DataFrame({"time_s": times, "knee_deg": angle}).round(5)
    sleeve.to_csv(folder / f"{name}_sleeve.csv", index=False)
    row = {
        "participant": "P1", "condition": name, "side": "left", "reference_optical": "",
        "wearable_strap": f"{name}_strap.csv", "wearable_sleeve": f"{name}_sleeve.csv",
        "wearable_strap_static_start_s": walk.static.start_s,
        "wearable_strap_static_end_s": walk.static.end_s,
        "wearable_strap_functional_start_s": walk.functional.start_s,
        "wearable_strap_functional_end_s": walk.functional.end_s,
        "reference_gonio": f"{name}_gonio.csv" if references else "",
    }  # fmt: skip
    for read in walk.references.values():
        frame = pd.DataFrame({"time_s": read.time_s, "knee_deg": read.angle_deg})
        frame.round(5).to_csv(folder / f"{name}_gonio.csv", index=False)
    return row, walk.true_deg


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    folder = tmp_path_factory.mktemp("mixed")
    made = [write_walk(folder, name, seed) for name, seed in (("indoor", 7), ("outdoor", 8))]
    pd.DataFrame([row for row, _ in made]).to_csv(folder / "trials.csv", index=False)
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return folder, {row["condition"]: true for row, true in made}


@pytest.fixture(scope="module")
def results(walked):
    return run_study(read_study(walked[0] / "study.toml"))


def of(results, condition, wearable):
    return next(
        t for t in results.trials if (t.condition, t.wearable) == (condition, wearable)
        and t.status == "ok"
    )  # fmt: skip


def test_both_are_compared_over_the_cycles_of_the_one_that_has_sensors(results):
    for condition in ("indoor", "outdoor"):
        strap, sleeve = (of(results, condition, name) for name in ("strap", "sleeve"))
        assert strap.cycles.method == "shank-gyroscope"
        assert sleeve.cycles.method == "shank-gyroscope of strap"
        pair = next(p for p in results.pairs if p.kind == "wearables" and p.condition == condition)
        assert pair.reason == ""
        assert pair.n_cycles >= 0.9 * strap.cycles.kept.sum()
    strap = of(results, "indoor", "strap")
    assert strap.common.n_cycles == of(results, "indoor", "sleeve").common.n_cycles >= 15
    contest = results.ranking[0].value
    assert len(contest.standings) == 2


def test_cycles_are_carried_over_the_clocks(results):
    for condition in ("indoor", "outdoor"):
        strap, sleeve = (of(results, condition, name).cycles for name in ("strap", "sleeve"))
        truth = SLEEVE.stamps(strap.start_s)
        apart = np.abs(sleeve.start_s[:, None] - truth).min(axis=1)
        assert apart.max() < 0.02  # two samples


def test_turns_seen_by_one_are_left_out_for_both(results):
    for condition in ("indoor", "outdoor"):
        strap, sleeve = (of(results, condition, name).cycles for name in ("strap", "sleeve"))
        kinds = [[reason_kind(text) for text in one.reason] for one in (strap, sleeve)]
        assert kinds[0].count("turn") >= 4
        assert kinds[1].count("turn") == kinds[0].count("turn")
        assert not any(kind_of(w) == "turns-not-seen" for w in sleeve.warnings)


def test_one_minus_the_other_is_what_the_simulation_put_in(results, walked):
    for condition, true in walked[1].items():
        strap = of(results, condition, "strap")
        wearable = strap.paired
        beside = wearable.wearable_deg - np.interp(wearable.time_s, true.time_s, true.angle_deg)
        kept = strap.cycles.kept
        means = [
            beside[(wearable.time_s >= a) & (wearable.time_s < b)].mean() - OFF
            for a, b in zip(strap.cycles.start_s[kept], strap.cycles.end_s[kept], strict=True)
        ]
        pair = next(p for p in results.pairs if p.kind == "wearables" and p.condition == condition)
        assert pair.offset == pytest.approx(np.mean(means), abs=0.1)


def test_the_study_may_say_which_wearable_cuts(walked, results):
    path = walked[0] / "other.toml"
    path.write_text(STUDY + '[cycles]\nwearable = "sleeve"\n', encoding="utf-8")
    study = read_study(path)
    found = [one for one in analyse_trial(study, study.trials[0]) if one.status == "ok"]
    methods = {one.wearable: one.cycles.method for one in found}
    assert methods == {"sleeve": "angle-peak", "strap": "angle-peak of sleeve"}


def test_a_name_that_is_no_wearable_is_refused(walked):
    path = walked[0] / "wrong.toml"
    path.write_text(STUDY + '[cycles]\nwearable = "sleve"\n', encoding="utf-8")
    with pytest.raises(StudyError, match=r"\[cycles\] `wearable` is 'sleve'.*'strap' or 'sleeve'"):
        read_study(path)
    with pytest.raises(StudyError, match=r"`wearable` is 'sleve'.*'strap' or 'sleeve'"):
        read_study(walked[0] / "study.toml").with_(cycles={"wearable": "sleve"})


def test_foot_contacts_may_be_asked_for_beside_a_wearable_without_a_gyroscope(walked):
    path = walked[0] / "contacts.toml"
    path.write_text(STUDY + '[cycles]\nmethod = "shank-gyroscope"\n', encoding="utf-8")
    study = read_study(path)
    methods = {part.study.cycles.method for part in study.parts}
    assert methods == {"shank-gyroscope"}
    assert study.with_(cycles={"turns": False}).cycles.turns is False
    alone = STUDY.replace('kind = "inertial"', 'kind = "angle"').split("procedures")[0]
    alone += 'angle = "thigh_acc_x"\n[wearables.sleeve]' + STUDY.split("[wearables.sleeve]")[1]
    path.write_text(alone + '[cycles]\nmethod = "shank-gyroscope"\n', encoding="utf-8")
    with pytest.raises(StudyError, match="has no gyroscope"):
        read_study(path)


def test_too_few_common_cycles_are_told_with_cause_and_remedy():
    left = (LeftOut("turn", 8),)
    said = too_few_common(0, left, ["shank-gyroscope", "angle-peak"])
    assert "0 common cycles; at least 3 are needed (left out: 8 turn)." in said
    assert "different events (shank-gyroscope and angle-peak)" in said
    assert '`method` under [cycles], such as "angle-peak"' in said
    assert "different" not in too_few_common(0, left, ["angle-peak", "angle-peak of strap"])


def test_what_concerns_one_wearable_alone_does_not_go_with_a_carried_cycle(results):
    strap, sleeve = (of(results, "indoor", name) for name in ("strap", "sleeve"))
    k = int(np.flatnonzero(sleeve.cycles.kept)[2])
    reason = list(sleeve.cycles.reason)
    for other, text in ((k, "masked: slipped (1 to 2 s)"), (k + 1, "turn: heading changed by 9°")):
        reason[other] = text
    given = replace(sleeve.cycles, reason=tuple(reason), method=strap.cycles.method)
    none = np.zeros(len(reason), dtype=bool)
    found = carried_cycles(given, sleeve.paired, wearable="strap", forced=none)
    assert found.reason[k] == ""
    assert found.reason[k + 1].startswith("turn")
    middle = float(given.start_s[k] + given.end_s[k]) / 2
    own = (MaskedStretch(middle, middle + 0.1, "slipped"),)
    found = carried_cycles(given, sleeve.paired, wearable="strap", forced=none, masked=own)
    assert found.reason[k].startswith("masked")


def test_without_a_common_clock_each_has_its_own_cycles_and_that_is_told(walked):
    study = read_study(walked[0] / "study.toml")
    near = study.synchronisation.model_copy(update={"max_lag_s": 0.1})
    parts = (replace(p, study=replace(p.study, synchronisation=near)) for p in study.parts)
    study = replace(study, parts=tuple(parts))
    outdoor = study.trials[1]
    found = [one for one in analyse_trial(study, outdoor) if one.status == "ok"]
    sleeve = next(one for one in found if one.wearable == "sleeve")
    assert sleeve.cycles.method == "angle-peak"
    told = [text for text in sleeve.warnings if kind_of(text) == "cycles-of-its-own"]
    assert len(told) == 1
    assert "not those of strap" in told[0]
    assert "max_lag_s" in told[0] or "expected_lag_s" in told[0]


def test_a_reference_without_files_is_no_exclusion_but_a_sentence(results, capsys):
    assert not_recorded_sentences(results) == ["Without a file of optical: 2 of 2 recordings."]
    blocks = exclusions_section(results)
    assert not any("Excluded beforehand" in str(block) for block in blocks)
    assert sum("Without a file of optical" in str(block) for block in blocks) == 1
    print_closing(results, Path("out"))
    printed = capsys.readouterr().out
    assert "excluded" not in printed.split("The answer")[0]
    assert "Without a file of optical: 2 of 2 recordings." in printed


def test_a_recording_without_a_reference_names_none(results):
    shown = {trial.condition: trial.shown for trial in results.trials if trial.status == "ok"}
    assert shown["indoor"].endswith("· against gonio")
    assert shown["outdoor"] == "sleeve · angle"


def test_one_condition_only_is_said_in_our_words(results):
    alone = [t for t in results.trials if t.condition == "indoor" or t.wearable == "strap"]
    alone = [replace(t, participant=p) for t in alone for p in ("P1", "P2", "P3")]
    found = pool_adjusted(group_trials(alone), results.options)
    said = {one.value.reason for one in found if "sleeve" in one.procedure}
    assert said == {"one condition only."}


def test_methods_say_who_cut(results):
    assert "which strap cut for every wearable, carried over the clocks" in cycles_paragraph(
        results
    )


def test_wearables_that_are_never_compared_are_named_with_the_reason(results):
    assert not any("compared in no recording" in note for note in results.notes)
    pairs = [replace(pair, reason="0 common cycles.") for pair in results.pairs]
    (said,) = _never_compared(pairs)
    start = "strap and sleeve are compared in no recording. P1 indoor session 1 trial 1 left: "
    assert said == f"{start}0 common cycles."


def test_the_report_says_how_many_cycles_both_keep(results):
    said = str(instruments_section(results, {}))
    kept = sum(pair.n_cycles for pair in results.pairs if pair.kind == "wearables")
    assert f"both keep {kept} cycles of 2 recordings; left out: 2 start" in said


def test_cycles_left_out_have_a_row_for_all_names_of_which_as_many_are(results):
    tables = [b for b in exclusions_section(results) if "Cycles left out" in str(b.get("caption"))]
    (table,) = tables
    assert table["head"][0] == "Procedure"
    left = cycles_left_out(results)
    told = {name: [str(row[name]) for row in left.values()] for name in procedures(results)}
    rows = {row[0]: row[1:] for row in table["rows"]}
    assert len(rows) == len({tuple(row) for row in told.values()})
    for reference in ("gonio", "optical"):
        pairs = f"strap against {reference}, sleeve against {reference}"
        assert rows[pairs] == told[f"sleeve · angle · against {reference}"]


def test_a_single_point_of_the_cycle_is_no_stretch():
    assert _region(100.0, 100.0) == "at 100 %"
    assert _region(1.0, 28.0) == "1 to 28 %"


def test_a_name_of_several_parts_is_broken_before_it_is_cut():
    assert in_lines("deviceA · kalman · against goniometer", 24) == "deviceA · kalman\ngoniometer"
    assert in_lines("strap · vqf", 24) == "strap · vqf"
    assert in_lines("kalman-two-sensors-and-more", 24) == "kalman-two-sensors-and-…"


def test_the_first_page_says_what_was_compared_nowhere(results):
    said = answer_sentences(results)[-1]
    alone = "either wearable with a reference under “outdoor”."
    assert said == f"Not compared anywhere in this study: {alone}"
    assert sum("accuracy was not measured there" in line for line in answer_sentences(results)) == 0
    apart = replace(results, pairs=[replace(p, reason="no clock.") for p in results.pairs])
    pair = "strap with sleeve on the same cycles"
    assert answer_sentences(apart)[-1].endswith(f"study: {pair}; {alone}")
    outdoor = [replace(p, reason="no" * (p.condition == "outdoor")) for p in results.pairs]
    said = answer_sentences(replace(results, pairs=outdoor))[-1]
    assert said.endswith(f"study: {pair} under “outdoor”; {alone}")
    unheld = [
        t
        if t.wearable == "strap" or t.status != "ok"
        else replace(t, cycles=replace(t.cycles, reference_deg=None))
        for t in results.trials
    ]
    said = answer_sentences(replace(results, trials=tuple(unheld)))[-1]
    assert "; ".join(("sleeve with a reference under “indoor”", alone)) in said
    inside = [t for t in results.trials if t.condition == "indoor"]
    assert "Not compared" not in " ".join(answer_sentences(replace(results, trials=tuple(inside))))


def test_read_in_stretches_each_wearable_has_its_own_cycles_and_that_is_said(results):
    days = daily_life(
        Strides(*(np.arange(9.0) + k for k in (0, 1)), np.full(9, 60.0), np.full(9, 25.0),
                *np.ones((2, 9), dtype=bool)),
        [(0.0, 9.0)],
    )  # fmt: skip
    trials = [t for t in results.trials if t.condition == "indoor" and t.status == "ok"]
    own = SimpleNamespace(cycles=SimpleNamespace(overrides=None))
    several = [
        Seen(SimpleNamespace(wearable=t.wearable, study=own), None, (replace(t, daily=days),))
        for t in trials
    ]
    for one in _with_own_cycles_told(several):
        (told,) = [w for w in one.results[0].warnings if kind_of(w) == "cycles-of-its-own"]
        assert "strap and sleeve are each cut at cycles of their own" in told
    assert _with_own_cycles_told(several[:1]) == several[:1]
    long = replace(results, trials=tuple(one.results[0] for one in several))
    blocks = daily_life_section(long, {})
    assert "Each wearable's strides are those that it cuts itself" in str(blocks[0])
    heads = [str(block) for block in blocks if block["kind"] == "heading"]
    assert ["strap" in heads[0], "sleeve" in heads[1]] == [True, True]
    assert "cuts itself" not in str(daily_life_section(replace(long, trials=long.trials[:1]), {}))
    drawn = {one.name: (one.caption, one.alternative) for one in draw_daily_life(long)}
    for (name, (caption, _)), wearable in zip(drawn.items(), ("strap", "sleeve"), strict=True):
        assert name.endswith(f"_{wearable}")
        assert f"({wearable} · " in caption
    shown = figures_of(daily_life_section(long, drawn))
    assert shown == [f"/figures/{name}.svg" for name in drawn]  # each wearable's, once
