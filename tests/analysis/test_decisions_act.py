"""Decisions take effect as an override of the same kind would, over it and under `exclude`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from twinangle.analysis import analyse_trial, check_study, pool_study
from twinangle.analysis.decision_records import decision_records
from twinangle.analysis.effect_of_decision import effect_of
from twinangle.analysis.opened import open_trial
from twinangle.analysis.without_decisions import without_decisions
from twinangle.errors import StudyError
from twinangle.notices import gravity_of, kind_of
from twinangle.report.content import report_content, supplement_content
from twinangle.report.decisions import blind_sentence, decisions_told
from twinangle.results.changes import changes
from twinangle.results.equality import difference
from twinangle.results.read_back import results_of
from twinangle.study import read_study
from twinangle.study.decisions import DECISIONS, read_decisions

ALL = ("P01", "P02", "P03")


@pytest.fixture(scope="module")
def plain(walks):
    """Every recording without decisions."""
    return tuple(analyse_trial(walks.bare, trial)[0] for trial in walks.bare.trials)


@pytest.fixture(scope="module")
def found(walks, plain):
    """The pooled results without decisions."""
    return pool_study(walks.bare, plain)


@pytest.fixture(scope="module")
def decided(walks, plain):
    """Return the pooled results under decisions; recordings without any are not analysed again."""

    def run(*decisions):
        study = walks.study(*decisions)
        trials = [
            analyse_trial(study, trial)[0] if trial.by_hand else known
            for trial, known in zip(study.trials, plain, strict=True)
        ]
        return pool_study(study, tuple(trials))

    return run


@pytest.fixture(scope="module")
def cycle(walks, plain):
    """Return a decision on a recording's cycle by its number."""

    def decide(index, *, use, who="P01", **fields):
        start_s = float(plain[ALL.index(who)].cycles.start_s[index])
        return walks.decision("cycle", {"start_s": start_s, "use": use}, who, **fields)

    return decide


def bare_json(results):
    """Return what was found, without the listing of decisions and of input files."""
    record = results.to_json()
    return {key: value for key, value in record.items() if key not in ("decisions", "provenance")}


def test_precedence_of_cycles_decision_over_overrides_over_rules(own_walks):
    first = analyse_trial(own_walks.bare, own_walks.bare.trials[0])[0].cycles
    odd = next(k for k, text in enumerate(first.reason) if text.startswith("curve outlier"))
    middle = (first.start_s + first.end_s) / 2
    (own_walks.folder / "cycles.csv").write_text(
        "time_s,decision,reason\n"
        f"{middle[10]},exclude,file\n{middle[12]},exclude,file\n{middle[odd]},include,file\n"
    )

    def cycle(index, use, why):
        value = {"start_s": float(first.start_s[index]), "use": use}
        return own_walks.decision("cycle", value, why=why)

    study = own_walks.study(
        cycle(10, True, "decided"),  # over the file that takes it out
        cycle(odd, False, "decided"),  # over the file that takes it in against a rule
        cycle(14, False, "earlier"), cycle(14, True, "later"),
        cycle(15, True, "earlier"), cycle(15, False, "later"),
        cycle(odd + 1, True, "decided"),  # over a rule
    )  # fmt: skip
    reason = analyse_trial(study, study.trials[0])[0].cycles.reason

    assert first.reason[odd + 1].startswith("curve outlier")
    told = {k: reason[k] for k in (10, 12, odd, odd + 1, 14, 15)}
    assert told == {
        10: "", 12: "by hand: file", odd: "by hand: decided", odd + 1: "", 14: "",
        15: "by hand: later",
    }  # fmt: skip


def test_exclude_in_the_trials_table_stands_over_everything(own_walks):
    table = own_walks.folder / "trials.csv"
    rows = table.read_text().splitlines()
    table.write_text(f"{rows[0]},exclude\n{rows[1]},the strap broke\n")
    own_walks.decide("recording", {"use": True})
    own_walks.decide("lag", {"lag_s": 1.5})
    study = read_study(own_walks.folder)

    result = analyse_trial(study, study.trials[0])[0]

    assert (result.status, result.reason) == ("excluded", "the strap broke")
    why = "the trials table excludes the recording (the strap broke)"
    assert [each.why_not for each in study.decisions] == [why, why]


def same_rows(study, other):
    """Whether all that is computed of two studies is the same: everything but the listing."""
    return replace(study, decisions=()) == replace(other, decisions=())


def test_a_recording_taken_out_and_in_again_is_as_it_was(walks):
    out = walks.decision("recording", {"use": False}, why="slipped")
    back = walks.decision("recording", {"use": True})
    assert walks.study(out).trials[0].exclude == "by hand: slipped"
    assert same_rows(walks.study(out, back), walks.bare)


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("lag", {"lag_s": 1.52}),
        ("interval", {"which": "analysed", "start_s": 6.0, "end_s": 30.0}),
        ("cycle", {"start_s": 15.5, "use": False}),
        ("recording", {"use": False}),
    ],
)
def test_an_undone_decision_leaves_what_would_be_there_without_it(kind, value, walks):
    one, undo = walks.decision(kind, value), walks.decision("undo", {"of": 1})
    study = walks.study(one, undo)
    assert same_rows(study, walks.bare)
    assert not same_rows(walks.study(one), walks.bare)
    assert [each.stands for each in study.decisions] == [False, True]


def test_the_files_of_a_run_are_those_without_an_undone_decision(walks, cycle, plain, found):
    study = walks.study(cycle(10, use=False), walks.decision("undo", {"of": 1}))
    results = pool_study(study, tuple(analyse_trial(study, study.trials[0])) + plain[1:])
    assert bare_json(results) == bare_json(found)


def test_the_order_of_decisions_on_two_recordings_does_not_matter(walks, cycle):
    one, other = cycle(10, use=False), cycle(12, use=False, who="P02")
    lag = walks.decision("lag", {"lag_s": 1.5}, "P03")
    assert same_rows(walks.study(one, other, lag), walks.study(lag, other, one))


def numbers(results):
    """Return the main numbers of every trial."""
    return [
        (trial.agreement.offset, trial.agreement.rms_demeaned, trial.wearable_variability.sd)
        for trial in results.trials
    ]


def test_a_decision_equal_to_what_is_found_moves_no_number(walks, cycle, plain, found, decided):
    clock = plain[0].synchronisation
    lag = {"lag_s": clock.lag_s, "drift_ppm": clock.drift_ppm}
    same = decided(walks.decision("lag", lag), cycle(10, use=True, who="P02"))
    assert numbers(same) == numbers(found)
    assert same.trials[0].synchronisation.method == "manual"
    assert all(one.value == one.without for one in same.without_decisions)
    assert (same.trials[1].chosen.out, same.trials[1].chosen.back_in) == (0, 0)


def test_a_cycle_is_found_again_by_a_rounded_start(plain, cycle, decided):
    one = cycle(10, use=False, why="stumbled")
    rounded = replace(one, value={"start_s": round(one.value["start_s"], 2), "use": False})
    reason = decided(rounded).trials[0].cycles.reason
    assert [k for k, text in enumerate(reason) if text == "by hand: stumbled"] == [10]


def test_a_lag_where_the_automatic_one_is_refused(own_walks):
    settings = own_walks.folder / "study.toml"
    settings.write_text(settings.read_text().replace("max_lag_s = 5.0", "max_lag_s = 0.2"))
    study = read_study(own_walks.folder)
    refused = analyse_trial(study, study.trials[0])[0]
    assert refused.status == "failed"

    own_walks.decide("lag", {"lag_s": 1.5}, why="the bends lie on each other")
    study = read_study(own_walks.folder)
    result = analyse_trial(study, study.trials[0])[0]
    assert result.status == "ok"
    assert result.synchronisation.lag_s == 1.5
    (told,) = [text for text in result.warnings if kind_of(text) == "lag-by-hand"]
    assert "a lag of 1.5 s (the bends lie on each other)" in told
    assert check_study(study).faults == ()


def test_intervals_are_those_of_the_row_then(walks):
    parts = {"standing": (1.0, 3.0), "functional": (5.0, 9.0), "analysed": (10.0, 30.0)}
    trial = walks.study(
        *(
            walks.decision("interval", {"which": which, "start_s": a, "end_s": b})
            for which, (a, b) in parts.items()
        )
    ).trials[0]
    assert (trial.static.start_s, trial.static.end_s) == (1.0, 3.0)
    assert (trial.functional.start_s, trial.functional.end_s) == (5.0, 9.0)
    assert (trial.start_s, trial.end_s) == (10.0, 30.0)


def test_an_analysed_interval_does_what_the_cells_of_the_table_do(walks):
    value = {"which": "analysed", "start_s": 6.0, "end_s": 30.0}
    study = walks.study(walks.decision("interval", value))
    celled = replace(walks.bare.trials[0], start_s=6.0, end_s=30.0)
    one = analyse_trial(study, study.trials[0])[0]
    other = analyse_trial(walks.bare, celled)[0]
    assert difference(replace(one, warnings=()), replace(other, warnings=())) is None


def test_a_decision_whose_recording_changed_is_named_and_not_applied(own_walks):
    own_walks.decide("recording", {"use": False}, why="slipped")
    path = own_walks.folder / "w_P01.csv"
    path.write_text(path.read_text().replace(",4.", ",5.", 1))
    study = read_study(own_walks.folder)
    assert [each.why_not for each in study.decisions] == [
        "the recording's files have changed since"
    ]

    result = analyse_trial(study, study.trials[0])[0]

    assert result.status == "ok"
    (told,) = [text for text in result.warnings if kind_of(text) == "decision-not-applied"]
    assert "Decision 1 by R1" in told
    assert "the recording out: slipped" in told
    assert "decide anew, or undo it" in told
    assert gravity_of(told) == "grave"
    (checked,) = check_study(study).trials
    assert told in checked.warnings

    own_walks.decide("recording", {"use": False}, why="slipped")
    assert read_study(own_walks.folder).trials[0].exclude == "by hand: slipped"


def test_a_decision_on_a_recording_that_is_not_there_is_named(walks):
    study = walks.study(walks.decision("lag", {"lag_s": 1.0}, "P09"))
    (told,) = study.warnings
    assert kind_of(told) == "decision-not-applied"
    assert "no rows of the trials table are called so" in told
    assert study.trials == walks.bare.trials


def test_a_decision_on_a_cycle_that_is_not_there_is_named(walks, decided, found):
    results = decided(walks.decision("cycle", {"start_s": 3.0, "use": False}, why="odd"))
    told = [t for t in results.trials[0].warnings if kind_of(t) == "decision-not-applied"]
    assert ["no cycle starts there; the nearest starts at" in text for text in told] == [True]
    assert results.decisions[0].why_not == "no cycle that could be used starts there"
    assert numbers(results) == numbers(found)


def test_a_damaged_file_of_decisions_stops_the_study(own_walks):
    (own_walks.folder / DECISIONS).write_text("{\n")
    with pytest.raises(StudyError, match=r"decisions\.jsonl, line 1"):
        read_study(own_walks.folder)


def test_what_was_chosen_is_counted_and_the_result_without_it_stands_beside(
    walks, cycle, plain, found, decided
):
    odd = next(k for k, t in enumerate(plain[0].cycles.reason) if t.startswith("curve outlier"))
    results = decided(
        cycle(10, use=False), cycle(11, use=False), cycle(odd, use=True),
        walks.decision("recording", {"use": False}, "P03"),
        walks.decision("lag", {"lag_s": 1.5}, "P02"),
    )  # fmt: skip
    chosen = results.trials[0].chosen
    assert (chosen.out, chosen.back_in) == (2, 1)
    by_name = {one.quantity: one for one in results.without_decisions}
    lagged = decided(walks.decision("lag", {"lag_s": 1.5}, "P02"))  # a lag is in both
    curves, before = results.curves[0].value, lagged.curves[0].value
    limits, limits_before = results.limits[1].value.limits, lagged.limits[1].value.limits
    spread, spread_before = results.variability[0].value, lagged.variability[0].value
    for name, value, without in (
        ("offset_deg", curves.offset, before.offset),
        ("rms_demeaned_deg", curves.rms_demeaned, before.rms_demeaned),
        ("wearable_sd_deg", spread.test_sd, spread_before.test_sd),
        ("reference_sd_deg", spread.reference_sd, spread_before.reference_sd),
        ("lower_deg of peak_flexion_deg", limits.lower, limits_before.lower),
        ("upper_deg of peak_flexion_deg", limits.upper, limits_before.upper),
    ):
        assert (by_name[name].value, by_name[name].without) == (value, without)
    n = by_name["offset_deg"]
    kept = [int(trial.cycles.kept.sum()) for trial in found.trials]
    assert (n.n_recordings, n.n_recordings_without) == (2, 3)
    assert n.n_cycles_without == sum(kept)
    assert n.n_cycles == kept[0] + kept[1] - 1 - chosen.others
    assert difference(results, results_of(results.to_json())) is not None  # curves are aside
    assert results_of(results.to_json()).without_decisions == results.without_decisions
    assert results_of(results.to_json()).decisions == results.decisions


def test_the_report_says_what_was_decided_and_the_supplement_lists_it(walks, cycle, decided):
    results = decided(
        cycle(10, use=False, why="stumbled"), cycle(11, use=False, why="stumbled"),
        walks.decision("lag", {"lag_s": 1.5}, "P02"),
    )  # fmt: skip
    sections = {one["title"]: one["blocks"] for one in report_content(results, {})["sections"]}
    said, _, table = sections["What was decided by hand"]
    assert "1 lag and 2 cycles out" in said["body"]
    assert "“stumbled” (2)" in said["body"]
    assert "in view while cycles and recordings were chosen" in said["body"]
    assert [row[2] for row in table["rows"]] == ["with", "without"]
    every = {one["title"]: one["blocks"] for one in supplement_content(results, {})["sections"]}
    assert [row[0] for row in every["Every decision"][0]["rows"]] == [
        f"{number}, R1" for number in (1, 2, 3)
    ]
    told = decisions_told(results)
    assert "1 lag and 2 cycles out" in told
    assert "tables/decisions.csv" in told
    assert "in the report" in told


def test_a_study_without_decisions_says_nothing_of_them(found):
    titles = [one["title"] for one in report_content(found, {})["sections"]]
    assert "What was decided by hand" not in titles
    assert (found.decisions, found.without_decisions) == ((), ())
    assert not decisions_told(found)


def test_whether_the_agreement_was_hidden_is_told(walks, cycle, plain):
    hide = replace(walks.decision("blind", {"on": True}, why=""), recording="*", input="")
    one, other = cycle(10, use=False), cycle(11, use=False)

    def sentence(*decisions):
        return blind_sentence(decision_records(walks.study(*decisions), plain))

    assert "was hidden while cycles" in sentence(hide, one, other)
    assert "hidden for 1 of the 2 decisions" in sentence(one, hide, other)
    assert "in view while" in sentence(one, other)
    assert sentence(hide) == ""


@pytest.mark.parametrize("kind", ["cycle", "lag", "recording"])
def test_the_effect_of_a_decision_is_what_the_run_then_finds(kind, walks, cycle, plain, decided):
    value = {"lag": {"lag_s": 1.51}, "recording": {"use": False}}
    one = walks.decision(kind, value[kind]) if kind in value else cycle(10, use=False)
    effect = effect_of(
        walks.bare, (), plain, one, opened=open_trial(walks.bare, walks.bare.trials[0])
    )
    run = decided(one)

    assert difference(effect.before[0], plain[0]) is None
    assert difference(replace(effect.after[0], undecided=None), run.trials[0]) is None
    after = {each.quantity: each.value for each in effect.pooled}
    assert after["offset_deg"] == run.curves[0].value.offset
    assert after["upper_deg of mean_deg"] == run.limits[0].value.limits.upper
    if kind != "lag":
        assert effect.pooled == run.without_decisions


def test_the_effect_of_an_undo_is_the_way_back(walks, cycle, plain):
    one = cycle(10, use=False)
    there = effect_of(walks.bare, (), plain, one)
    undo = walks.decision("undo", {"of": 1})
    back = effect_of(walks.bare, (replace(one, id=1),), there.results, undo)
    assert [each.value for each in back.pooled] == [each.without for each in there.pooled]


def test_no_file_is_read_again_of_an_open_recording(walks, cycle, plain, monkeypatch):
    opened = open_trial(walks.bare, walks.bare.trials[0])

    def refuse(*_):
        raise AssertionError("a file was read")

    monkeypatch.setattr("twinangle.analysis.opened.read_trial", refuse)
    hashes = {trial.label: one.input for trial in walks.bare.trials
              for one in [walks.decision("looked", who=trial.participant)]}  # fmt: skip
    effect = effect_of(
        walks.bare, (), plain, cycle(10, use=False), opened=opened,
        hash_of=lambda _, trial, *names: hashes[trial.label],
    )  # fmt: skip
    assert effect.after[0].status == "ok"


def test_an_effect_on_what_is_not_there_is_refused(walks, plain):
    with pytest.raises(StudyError, match="accepted: the name of one"):
        effect_of(walks.bare, (), plain, walks.decision("lag", {"lag_s": 1.0}, "P09"))


def test_nothing_is_computed_twice_where_nothing_was_chosen(walks, plain):
    assert without_decisions(plain, walks.bare.options) == ()
    study = walks.study(walks.decision("lag", {"lag_s": 1.5}))
    assert analyse_trial(study, study.trials[0])[0].undecided is None


def test_a_changed_file_of_decisions_is_an_input_that_changed(own_walks):
    def run():
        study = read_study(own_walks.folder)
        trials = tuple(analyse_trial(study, trial)[0] for trial in study.trials)
        return pool_study(study, trials)

    own_walks.decide("looked", why="")
    before = run()
    assert DECISIONS in [file.path for file in before.inputs]
    own_walks.decide("looked", why="")
    kinds = {change.kind for change in changes(before, run())}
    assert "input" in kinds
    assert "number" not in {
        change.kind for change in changes(before, run()) if not change.place.startswith("decisions")
    }
    assert np.isfinite(before.trials[0].agreement.offset)
    assert len(read_decisions(own_walks.folder)) == 2
