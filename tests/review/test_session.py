"""What the page is sent: lists, traces, a lag that is tried, decisions, effects, blindness."""

import json
from dataclasses import replace

import numpy as np
import pytest
from asking import PORT, TOKEN, ask, post
from walks import LAG_S, write_walks

from twinangle.analysis import analyse_trial
from twinangle.review.look import look_at
from twinangle.review.server import build_app
from twinangle.review.session import Session
from twinangle.study import Decision, apply_decisions, read_bare_study, read_study
from twinangle.study.by_hand import ByHand
from twinangle.study.decisions import moment, recording_hash


def test_the_refused_clock_comes_before_the_others(app):
    told = ask(app, "api/study").json()
    rows = told["recordings"]
    assert [row["state"] for row in rows] == ["failed", "ok", "ok", "ok"]
    assert rows[0]["urgency"] == 0
    assert rows[0]["flags"][0]["topic"] == "clock"
    assert "which cycle is which" in rows[0]["flags"][0]["text"]
    assert min(row["urgency"] for row in rows[1:]) > 0
    assert len(rows[2]["curve"]["reference"]) == 101


def test_a_refused_recording_shows_traces_correlation_and_cycles(app):
    told = ask(app, "api/recording/0").json()
    assert told["clock"]["state"] == "refused"
    assert told["traces"]["wearable"]["size"] > 1000
    assert told["traces"]["reference"]["size"] > 1000
    assert max(told["clock"]["correlation"]) > 0.9
    assert told["clock"]["peaks"][0]["correlation"] == pytest.approx(
        max(told["clock"]["correlation"]), abs=1e-3
    )
    assert len(told["cycles"]["reason"]) > 15


def test_traces_are_sent_as_they_were_recorded(app, session):
    told = ask(app, "api/recording/2").json()["traces"]["reference"]
    tile = ask(app, f"tile/{told['digest']}/0/0")
    assert "immutable" in tile.headers["cache-control"]
    least, largest, gap = np.frombuffer(tile.body, "<f4").reshape(3, -1)
    angle = session._look(2).reference.angle_deg
    np.testing.assert_allclose(least, angle[: least.size].astype("f4"))
    np.testing.assert_allclose(largest, least)
    assert (np.flatnonzero(gap) == np.flatnonzero(np.isnan(angle[: least.size]))).all()
    assert gap.sum() == told["missing"] > 0


def test_a_lag_that_is_tried_gives_what_a_run_gives_with_it(app, session):
    found = ask(app, "api/recording/2").json()["clock"]
    assert found["lag_s"] == pytest.approx(LAG_S, abs=0.02)
    here = post(app, "api/place/2", {"lag_s": found["lag_s"], "drift_ppm": found["drift_ppm"]})
    numbers = here.json()["numbers"]
    result = session._looks[2].first.agreement
    assert numbers["offset_deg"] == pytest.approx(result.offset, abs=1e-6)
    assert numbers["rms_deg"] == pytest.approx(result.rms_demeaned, abs=1e-6)
    away = post(app, "api/place/2", {"lag_s": found["lag_s"] + 0.1, "drift_ppm": 0}).json()
    assert away["numbers"]["rms_deg"] > numbers["rms_deg"] + 5


@pytest.mark.parametrize("lag_s", [1e308, 1e29, -1e5])
def test_a_lag_at_which_nothing_overlaps_is_refused(app, session, lag_s):
    value = {"lag_s": lag_s, "drift_ppm": 0.0}
    before = len(session.decisions())
    for answer in (
        post(app, "api/place/2", value),
        post(app, "api/decide/2", {"kind": "lag", "value": value, "why": "seen", "who": "R1"}),
    ):
        assert answer.status == 400
        assert b"accepted" in answer.body
    assert len(session.decisions()) == before


def test_a_stretch_outside_the_recording_is_refused(app, session):
    value = {"which": "standing", "start_s": 5000.0, "end_s": 5004.0}
    before = len(session.decisions())
    given = {"kind": "interval", "value": value, "why": "seen", "who": "R1"}
    answer = post(app, "api/decide/2", given)
    assert answer.status == 400
    assert b"outside the recording; accepted: a stretch within" in answer.body
    assert len(session.decisions()) == before


def test_the_effect_of_a_cycle_is_that_of_the_analysis(app, session, study_file):
    start = ask(app, "api/recording/2").json()["cycles"]["start_s"][5]
    told = post(app, "api/effect/2", {"kind": "cycle", "value": {"start_s": start, "use": False}})
    effect = told.json()
    own = effect["own"]
    assert own["with"]["kept"] == own["now"]["kept"] - 1
    assert own["with"]["offset_deg"] != own["now"]["offset_deg"]
    assert own["now"] == own["automatic"]
    pooled = {row["quantity"]: row for row in effect["pooled"]}
    assert {"offset_deg", "rms_demeaned_deg", "wearable_sd_deg", "reference_sd_deg"} <= set(pooled)
    assert pooled["cycles"]["with"] == pooled["cycles"]["now"] - 1
    assert pooled["offset_deg"]["with"] != pooled["offset_deg"]["now"]
    assert pooled["offset_deg"]["now"] == pooled["offset_deg"]["automatic"]
    for end in ("bias", "lower", "upper"):
        assert f"{end}_deg of peak_flexion_deg" in pooled
    assert effect["seconds"] > 0


def test_the_effect_is_what_a_run_with_the_decision_gives(app, session, study_file):
    start = ask(app, "api/recording/2").json()["cycles"]["start_s"][6]
    value = {"start_s": start, "use": False}
    here = post(app, "api/effect/2", {"kind": "cycle", "value": value}).json()
    bare = read_bare_study(study_file)
    trial = bare.trials[2]
    decision = Decision(
        who="R1", recording=trial.label, kind="cycle", value=value, why="turn", id=1,
        input=recording_hash(bare, trial), version="0.1.0", when=moment(),
    )  # fmt: skip
    study = apply_decisions(bare, (decision,))
    (result, *_) = analyse_trial(study, study.trials[2])
    own = here["own"]["with"]
    assert own["offset_deg"] == pytest.approx(result.agreement.offset)
    assert own["rms_demeaned_deg"] == pytest.approx(result.agreement.rms_demeaned)
    assert own["reference_sd_deg"] == pytest.approx(result.variability.reference.sd)


def test_too_few_cycles_are_shown_with_why_each_is_out(study_file):
    bare = read_bare_study(study_file)
    trial = bare.trials[2]
    starts = look_at(bare, trial).cycles.start_s
    out = ByHand(cycles=tuple((float(start), "exclude", "stumbled") for start in starts[1:]))
    look = look_at(bare, replace(trial, by_hand=out))
    assert look.first.status == "failed"
    assert look.clock_state == "found"
    assert len(look.cycles.reason) == starts.size
    assert all("stumbled" in text for text in look.cycles.reason[1:])
    assert look.cycles.reference_deg is not None


def test_a_reference_alone_is_shown(tmp_path):
    path = write_walks(tmp_path / "study", recordings=1)
    wearable = path.parent / "w0.csv"
    rows = [line.split(",")[0] + ",5.0" for line in wearable.read_text().splitlines()[1:]]
    wearable.write_text("\n".join(["t,knee", *rows, ""]))
    study = read_bare_study(path)
    look = look_at(study, study.trials[0])
    assert look.first.status == "failed"
    assert look.wearable is None
    assert look.unseen
    assert look.reference.angle_deg.size > 1000


def test_decisions_are_kept_honoured_and_undone(tmp_path, waiting):
    path = write_walks(tmp_path / "study", recordings=3)
    session = Session(read_bare_study(path), who="R1", blind=False)
    session.begin()
    try:
        waiting(session)
        app = build_app(session, token=TOKEN, port=PORT, stop=lambda: None)
        lag = {"kind": "lag", "value": {"lag_s": LAG_S, "drift_ppm": 0.0}, "who": "R2"}
        assert post(app, "api/decide/0", lag | {"why": " "}).status == 400
        assert post(app, "api/decide/0", lag | {"why": "known"}).status == 200
        assert session.overview()["recordings"][0]["again"]
        waiting(session)
        now = ask(app, "api/recording/0").json()
        assert now["row"]["state"] == "ok"
        assert now["clock"]["lag_s"] == LAG_S
        line = json.loads((path.parent / "decisions.jsonl").read_text())
        assert (line["who"], line["kind"], line["why"]) == ("R2", "lag", "known")
        study = read_study(path)  # as `run` reads it
        assert analyse_trial(study, study.trials[0])[0].synchronisation.lag_s == LAG_S
        effect = post(app, "api/effect/0", {}).json()
        assert effect["own"]["automatic"]["status"] == "failed"
        assert effect["own"]["now"]["status"] == "ok"
        out = {"kind": "recording", "value": {"use": False}}
        assert post(app, "api/effect/0", out).json()["own"]["with"]["status"] == "excluded"
        undo = {"kind": "undo", "value": {"of": 1}, "why": "looked again", "who": "R2"}
        assert post(app, "api/decide/0", undo).status == 200
        waiting(session)
        assert ask(app, "api/recording/0").json()["row"]["state"] == "failed"
        again = {"kind": "undo", "value": {"of": 2}, "why": "it was right", "who": "R2"}
        assert post(app, "api/decide/0", again).status == 200
        assert session.overview()["recordings"][0]["again"]  # the lag stands again
        waiting(session)
        assert ask(app, "api/recording/0").json()["clock"]["lag_s"] == LAG_S
        back = {"kind": "undo", "value": {"of": 3}, "why": "no", "who": "R2"}
        assert post(app, "api/decide/0", back).status == 200
        waiting(session)
        # a file that was changed behind the page: nobody has seen what would be decided on
        file = path.parent / read_study(path).trials[0].wearable
        file.write_text(file.read_text().replace("3.0", "3.1", 1))
        before = (path.parent / "decisions.jsonl").read_text()
        refused = post(app, "api/decide/0", lag | {"why": "known"})
        assert refused.status == 400
        assert b"have changed since this page looked at them" in refused.body
        assert (path.parent / "decisions.jsonl").read_text() == before
        waiting(session)
        assert post(app, "api/decide/0", lag | {"why": "seen now"}).status == 200
    finally:
        session.end()


def test_deciding_blind_nothing_of_the_difference_is_sent(tmp_path, waiting):
    path = write_walks(tmp_path / "study", recordings=3)
    session = Session(read_bare_study(path), who="R1", blind=True)
    session.begin()
    try:
        waiting(session)
        app = build_app(session, token=TOKEN, port=PORT, stop=lambda: None)
        told = ask(app, "api/recording/2").json()
        assert "reference" not in told["curve"]
        assert told["standing"] is None
        for name in ("wearable", "reference"):  # each about its own median
            trace = told["traces"][name]
            least = np.frombuffer(ask(app, f"tile/{trace['digest']}/0/0").body, "<f4")
            assert abs(np.nanmedian(least.reshape(3, -1)[0])) < 0.5
        whole = ask(app, "api/study").body
        assert b"offset" not in whole
        assert b'"reference":[' not in whole
        curves = ask(app, "api/curves/2/0").body
        assert len(curves) == 4 * 101 * len(told["cycles"]["reason"])
        assert post(app, "api/place/2", {"lag_s": 1.5, "drift_ppm": 0}).status == 403
        assert post(app, "api/effect/2", {}).status == 403
        given = {"kind": "cycle", "value": {"start_s": told["cycles"]["start_s"][4], "use": False}}
        assert post(app, "api/decide/2", given | {"why": "turn", "who": "R1"}).status == 200
        lines = [json.loads(x) for x in (path.parent / "decisions.jsonl").read_text().splitlines()]
        assert next((x["kind"], x["value"]) for x in lines) == ("blind", {"on": True})
        assert lines[1]["kind"] == "cycle"
        assert post(app, "api/blind", {"who": "R1", "on": False}).json() == {"blind": False}
        assert "reference" in ask(app, "api/recording/2").json()["curve"]
        lines = (path.parent / "decisions.jsonl").read_text().splitlines()
        assert json.loads(lines[-1])["value"] == {"on": False}
    finally:
        session.end()
