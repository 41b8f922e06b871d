"""What is decided or forced by hand acts in the stretch of a long recording in which it lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented_day import write_day

from twinangle import read_study
from twinangle.analysis import analyse_trial, check_study, pool_study
from twinangle.analysis.decision_records import NO_CYCLE
from twinangle.notices import kind_of
from twinangle.report.by_hand import MOST, cycles_by_hand_blocks, every_cycle_by_hand_section
from twinangle.results import TrialResult
from twinangle.results.read_back import results_of
from twinangle.signals.recording import CycleSet
from twinangle.study import Decision, Study, apply_decisions
from twinangle.study.decisions import recording_hash

REASON = "stumbled"


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """One row: a reference for the first two minutes, and stretches of five."""
    path = write_day(tmp_path_factory.mktemp("hand"))
    table = path.parent / "trials.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    table.write_text("\n".join([lines[0], lines[2], ""]), encoding="utf-8")
    return read_study(path)


@pytest.fixture(scope="module")
def whole(study: Study) -> CycleSet:
    """The cycles of the recording read at once, without a reference."""
    alone = replace(study.trials[0], reference=None)
    cycles = analyse_trial(study.with_(stretch_min=None), alone)[0].cycles
    assert cycles is not None
    return cycles


@pytest.fixture(scope="module")
def plain(study: Study) -> TrialResult:
    return analyse_trial(study, study.trials[0])[0]


def forced(study: Study, *rows: tuple[float, str]) -> Study:
    """Return the study with cycles forced in or out."""
    lines = [f"{at},{what},{REASON}" for at, what in rows]
    text = "\n".join(["time_s,decision,reason", *lines, ""])
    (study.folder / "by_hand.csv").write_text(text, encoding="utf-8")
    cycles = study.cycles.model_copy(update={"overrides": "by_hand.csv"})
    return replace(study, cycles=cycles)


def kept_whole(study: Study) -> int:
    """Return how many cycles are kept where the recording is read at once, by the wearable."""
    alone = replace(study.trials[0], reference=None)
    (found,) = analyse_trial(study.with_(stretch_min=None), alone)
    assert found.cycles is not None
    return int(found.cycles.kept.sum())


def inside(cycles: CycleSet, after_s: float) -> float:
    """Return the middle of a kept cycle, the fifth that begins after a time."""
    k = np.flatnonzero(cycles.kept & (cycles.start_s > after_s))[4]
    return float(cycles.start_s[k] + cycles.end_s[k]) / 2


def over_the_end(cycles: CycleSet, end_s: float) -> float:
    """Return a time behind the end of a stretch, in the cycle that runs over it."""
    (k,) = np.flatnonzero((cycles.start_s < end_s) & (cycles.end_s > end_s))
    return float(end_s + cycles.end_s[k]) / 2


def test_overrides_act_where_they_lie(study, whole, plain):
    """In the first stretch, in the second, in what both read, and in the stride over its end."""
    times = [inside(whole, s) for s in (30.0, 310.0, 430.0)] + [over_the_end(whole, 300.0)]
    for rows in ([(t, "exclude")] for t in times):
        changed = forced(study, *rows)
        (found,) = analyse_trial(changed, changed.trials[0])
        assert found.status == "ok", found.reason
        assert found.daily.unread == ()
        assert found.daily.n_strides == kept_whole(changed) < plain.daily.n_strides
    first = next(k for k, reason in enumerate(whole.reason) if reason and whole.start_s[k] > 430)
    changed = forced(study, (float(whole.start_s[first]) + 0.3, "include"))
    (found,) = analyse_trial(changed, changed.trials[0])
    assert found.daily.n_strides == kept_whole(changed) == plain.daily.n_strides + 1


@pytest.mark.parametrize(
    ("at_s", "said", "checked"),
    [
        (9999.0, "at 9999 s lies outside device.csv, which runs from 0 to 599.96 s", False),
        (400.0, "No cycle was found at 400 s; the nearest is cycle 140, 421.96 to 423.00 s", False),
        (80.0, "No cycle was found at 80 s", True),
    ],
)
def test_an_override_is_refused_where_no_stretch_holds_its_cycle(study, at_s, said, checked):
    """`check` reads the first stretch alone."""
    changed = forced(study, (at_s, "exclude"))
    (found,) = analyse_trial(changed, changed.trials[0])
    assert found.status == "failed"
    assert said in found.reason
    told = check_study(changed).trials[0].faults
    assert any(said in fault for fault in told) == checked
    assert bool(told) == checked


def test_two_overrides_of_one_cycle_are_refused_in_every_stretch(study, whole):
    at_s = inside(whole, 430.0)
    changed = forced(study, (at_s, "exclude"), (at_s + 0.1, "include"))
    (found,) = analyse_trial(changed, changed.trials[0])
    assert found.status == "failed"
    assert "more than once" in found.reason


def test_decisions_act_where_they_lie_and_the_record_says_so(study, whole, plain):
    kept = np.flatnonzero(whole.kept)
    behind = [k for k in kept if whole.start_s[k] > 430.0]
    left_out = next(k for k, text in enumerate(whole.reason) if text and whole.start_s[k] > 430.0)
    chosen = [(kept[3], False), (behind[5], False), (left_out, True)]
    values = [({"start_s": float(whole.start_s[k])}, use) for k, use in chosen]
    values.append(({"start_s": 400.0}, False))
    label = study.trials[0].label
    looked_at = recording_hash(study, study.trials[0])
    decisions = [
        Decision(
            who="R1", recording=label, kind="cycle", value=value | {"use": use}, why=REASON,
            input=looked_at, version="0", when="2026-01-01T00:00:00Z", id=number,
        )
        for number, (value, use) in enumerate(values, start=1)
    ]  # fmt: skip
    decided = apply_decisions(study, decisions)
    (found,) = analyse_trial(decided, decided.trials[0])
    alone = replace(decided.trials[0], reference=None)
    (at_once,) = analyse_trial(study.with_(stretch_min=None), alone)
    assert found.daily.n_strides == at_once.cycles.kept.sum() < plain.daily.n_strides
    assert found.cycles.kept.sum() == plain.cycles.kept.sum() - 1
    assert found.chosen == at_once.chosen
    assert (found.chosen.out, found.chosen.back_in) == (2, 1)
    told = [text for text in found.warnings if kind_of(text) == "decision-not-applied"]
    assert ["400.00 s" in text for text in told] == [True]
    assert "no cycle starts there; the nearest starts at 421.96 s" in told[0]

    results = pool_study(decided, (found,))
    assert [each.why_not for each in results.decisions] == ["", "", "", NO_CYCLE]
    back = results_of(results.to_json())
    assert repr(back.trials[0].daily) == repr(found.daily)
    assert [one.use for one in found.daily.by_hand] == [False, False, True]
    assert "by_hand" not in pool_study(study, (plain,)).to_json()["trials"][0]["daily_life"]


TWO = """[wearables.strap]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[wearables.sleeve]
kind = "angle"
time = "time_s"
angle = "knee_deg"
"""


def test_of_two_wearables_each_has_its_own_cycles_decided_on(study, whole, plain, tmp_path):
    """Nothing is carried from stretch to stretch; overrides are on the clock of one."""
    text = study.path.read_text(encoding="utf-8")
    at = text.index("[wearable]"), text.index("[reference]"), text.index("[synchronisation]")
    text = text[: at[0]] + TWO + text[at[2] :].replace("[cycles]", '[cycles]\noverrides = "o.csv"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    shifted = pd.read_csv(study.folder / "device.csv")
    shifted.to_csv(tmp_path / "strap.csv", index=False)
    shifted.assign(time_s=shifted["time_s"] + 40.0).to_csv(tmp_path / "sleeve.csv", index=False)
    table = "participant,condition,wearable_strap,wearable_sleeve\nP01,home,strap.csv,sleeve.csv\n"
    (tmp_path / "trials.csv").write_text(table, encoding="utf-8")
    at_s = over_the_end(whole, 300.0)
    (tmp_path / "o.csv").write_text(f"time_s,decision,reason\n{at_s},exclude,{REASON}\n")
    two = read_study(tmp_path)
    start_s = float(whole.start_s[whole.kept & (whole.start_s > 430.0)][5])
    decision = Decision(
        who="R1", recording=two.trials[0].label, kind="cycle", wearable="sleeve", why=REASON,
        value={"start_s": start_s + 40.0, "use": False}, version="0", id=1,
        input=recording_hash(two, two.trials[0], "sleeve", ""), when="2026-01-01T00:00:00Z",
    )  # fmt: skip
    decided = apply_decisions(two, [decision])
    assert [each.why_not for each in decided.decisions] == [""]
    strap, sleeve = analyse_trial(decided, decided.trials[0])
    assert [one.status for one in (strap, sleeve)] == ["ok", "ok"], sleeve.reason
    assert strap.daily.n_strides < plain.daily.n_strides
    assert sleeve.daily.n_strides < plain.daily.n_strides
    assert [len(one.daily.by_hand) for one in (strap, sleeve)] == [1, 1]
    (told,) = [text for text in sleeve.warnings if kind_of(text) == "cycles-of-its-own"]
    assert "acts on strap alone" in told


def test_a_stretch_to_analyse_leaves_the_others_alone(study, plain):
    """Behind the first stretch there is no agreement to be had, but a day; before, no fault."""
    for limits in ({"end_s": 100.0}, {"start_s": 430.0}):
        trial = replace(study.trials[0], **limits)
        (found,) = analyse_trial(study, trial)
        assert found.daily.unread == ()
        begins = [bout.start_s for bout in found.daily.bouts]
        low, high = limits.get("start_s", 0.0), limits.get("end_s", 600.0)
        assert len(begins) == sum(low < b.end_s and b.start_s < high for b in plain.daily.bouts)
    assert found.status == "failed"
    assert "the stretch that is read of it runs from 0.00 to 419.96 s" in found.reason
    assert "agreement and SDs are of the first one" in found.reason


def test_the_report_prints_the_reason_of_every_override(study, whole):
    """Of a stride late in the recording too; where they are many, in the supplement."""
    late = inside(whole, 430.0)
    named = [k for k in np.flatnonzero(whole.kept) if whole.start_s[k] > 310][: MOST + 1]
    many = [float(whole.start_s[k] + whole.end_s[k]) / 2 for k in named]
    for times, title in (([late], "stride from"), (many, "")):
        changed = forced(study, *((at_s, "exclude") for at_s in times))
        results = pool_study(changed, (analyse_trial(changed, changed.trials[0])[0],))
        told = str(cycles_by_hand_blocks(results)), str(every_cycle_by_hand_section(results))
        in_report = len(times) <= MOST
        assert told[not in_report].count(f"out: {REASON}") == len(times)
        assert REASON not in told[in_report]
        assert title in told[0]
        assert in_report or f"{len(times)} cycles" in told[0]


def test_the_report_prints_the_reason_of_cycles_of_an_ordinary_recording(study, whole):
    left_out = next(k for k, reason in enumerate(whole.reason) if reason and whole.start_s[k] > 430)
    at_s = float(whole.start_s[left_out]) + 0.3
    changed = forced(study, (inside(whole, 30.0), "exclude"), (at_s, "include"))
    changed = changed.with_(stretch_min=None)
    alone = replace(changed.trials[0], reference=None)
    told = str(cycles_by_hand_blocks(pool_study(changed, analyse_trial(changed, alone))))
    assert f"out: {REASON}" in told
    assert f"is kept by hand ({REASON}) in spite of" in told


def test_the_check_says_that_it_read_the_first_stretch(study):
    """The file has 600 s; reading it whole would take as long as the run."""
    worn, reference = check_study(study).trials[0].files
    assert "first stretch of 420.0 s" in worn.summary()
    assert "; the run reads on)" in worn.summary()
    assert "first stretch" not in reference.summary()
    worn, _ = check_study(study.with_(stretch_min=None)).trials[0].files
    assert "25 Hz, 600.0 s (0 to 599.96 s)" in worn.summary()
