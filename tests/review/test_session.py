"""What the page is sent: lists, traces, a lag that is tried, decisions, effects, blindness."""

import json

import numpy as np
import pytest
from asking import PORT, TOKEN, ask, post
from walks import LAG_S, write_walks

from twinangle.analysis import analyse_trial
from twinangle.review.server import build_app
from twinangle.review.session import Session
from twinangle.study import read_bare_study, read_study


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


def test_the_effect_of_a_cycle_is_that_of_the_analysis(app, session, study_file):
    start = ask(app, "api/recording/2").json()["cycles"]["start_s"][5]
    told = post(app, "api/effect/2", {"kind": "cycle", "value": {"start_s": start, "use": False}})
    effect = told.json()
    assert effect["with"]["kept"] == effect["now"]["kept"] - 1
    assert effect["with"]["offset_deg"] != effect["now"]["offset_deg"]
    assert effect["now"] == effect["automatic"]
    assert {"bias_deg", "lower_deg", "upper_deg"} <= set(effect["with"]["limits"])


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
        assert effect["automatic"]["status"] == "failed"
        assert effect["now"]["status"] == "ok"
        undo = {"kind": "undo", "value": {"of": 1}, "why": "looked again", "who": "R2"}
        assert post(app, "api/decide/0", undo).status == 200
        waiting(session)
        assert ask(app, "api/recording/0").json()["row"]["state"] == "failed"
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
        assert post(app, "api/show", {"who": "R1"}).json() == {"blind": False}
        assert "reference" in ask(app, "api/recording/2").json()["curve"]
        lines = (path.parent / "decisions.jsonl").read_text().splitlines()
        assert json.loads(lines[-1])["value"] == {"on": False}
    finally:
        session.end()
