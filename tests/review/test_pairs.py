"""Several wearables and references on the page: each pair by itself, with its decisions."""

import json

import pytest
from asking import PORT, TOKEN, ask, post
from walks import LAG_S, STARTED_LATE_S, write_pairs

from twinangle.analysis import analyse_trial
from twinangle.review.server import build_app
from twinangle.review.session import Session
from twinangle.study import read_bare_study, read_study

LAG_OF_OPTICAL_S = LAG_S + STARTED_LATE_S
NAMES = (
    "strap against goniometer", "strap against optical", "sleeve against goniometer",
    "sleeve against optical", "strap", "sleeve",
)  # fmt: skip


@pytest.fixture
def path(tmp_path):
    return write_pairs(tmp_path / "pairs", seconds=18.0)


@pytest.fixture
def session(path, waiting):
    made = Session(read_bare_study(path), who="R1", blind=False)
    made.begin()
    try:
        waiting(made)
        yield made
    finally:
        made.end()


@pytest.fixture
def app(session):
    return build_app(session, token=TOKEN, port=PORT, stop=lambda: None)


def analysed_again(session):
    return [k for k, row in enumerate(session.overview()["recordings"]) if row["again"]]


def decide(app, number, kind, value, **more):
    given = {"kind": kind, "value": value, "why": "seen", "who": "R1"} | more
    return post(app, f"api/decide/{number}", given)


def test_decisions_on_pairs_are_kept_apart_and_honoured(app, session, path, waiting):
    rows = ask(app, "api/study").json()["recordings"]
    assert tuple(row["instruments"] for row in rows) == NAMES  # outdoors nothing is twice
    assert [row["state"] for row in rows] == ["ok", "failed", "ok", "ok", "ok", "ok"]
    cut_by = [ask(app, f"api/recording/{k}").json()["cut_by"] for k in range(len(rows))]
    assert cut_by == ["", "", "strap", "strap", "", "strap"]
    in_run = {one.procedure: one for one in analyse_trial(session.study, session.study.trials[0])}
    for k, name in ((2, "goniometer"), (3, "optical")):
        shown = ask(app, f"api/recording/{k}").json()["cycles"]
        carried = in_run[f"sleeve · angle · against {name}"].cycles
        assert shown["start_s"] == pytest.approx(list(carried.start_s))
        assert shown["method"] == carried.method == "angle-peak of strap"

    lag = {"lag_s": LAG_OF_OPTICAL_S, "drift_ppm": 0.0}
    thought = post(app, "api/effect/1", {"kind": "lag", "value": lag}).json()
    assert thought["total"] == 1  # of this pair alone
    assert (thought["own"]["now"]["status"], thought["own"]["with"]["status"]) == ("failed", "ok")
    made = decide(app, 1, "lag", lag).json()
    assert (made["wearable"], made["reference"]) == ("strap", "optical")
    assert analysed_again(session) == [1, 2, 3]  # and what its cycles are carried to
    waiting(session)
    assert ask(app, "api/recording/1").json()["clock"]["lag_s"] == LAG_OF_OPTICAL_S

    start = ask(app, "api/recording/1").json()["cycles"]["start_s"][4]
    made = decide(app, 1, "cycle", {"start_s": start, "use": False}).json()
    assert (made["wearable"], made.get("reference")) == ("strap", None)
    assert analysed_again(session) == [0, 1, 2, 3]  # against every reference
    waiting(session)
    shown = ask(app, "api/recording/3").json()["cycles"]
    assert shown["reason"].count("by hand: seen") == 1  # carried with it
    now = post(app, "api/effect/3", {}).json()["own"]
    assert now["automatic"]["kept"] == now["now"]["kept"] + 1
    made = decide(app, 2, "recording", {"use": False}, holds="reference").json()
    assert (made.get("wearable"), made["reference"]) == (None, "goniometer")
    waiting(session)
    told = ask(app, "api/study").json()
    assert [row["state"] for row in told["recordings"]] == [
        "excluded",
        "ok",
        "excluded",
        *["ok"] * 3,
    ]
    assert [one["units"] for one in told["decisions"]] == [[1], [0, 1], [0, 2]]

    wrong = decide(app, 1, "lag", lag, holds="wearable")
    assert wrong.status == 400
    assert "accepted for kind 'lag': 'pair'" in wrong.json()["error"]

    study = read_study(path)  # as `run` reads it
    results = {one.procedure: one for one in analyse_trial(study, study.trials[0])}
    optical = results["strap · angle · against optical"]
    assert optical.synchronisation.lag_s == LAG_OF_OPTICAL_S
    assert sum("by hand: seen" in text for text in optical.cycles.reason) == 1
    out = results["sleeve · angle · against goniometer"]
    assert (out.status, out.reason) == ("excluded", "by hand: seen")
    assert out.undecided.procedure == out.procedure  # beside it, what it would have given
    other = results["sleeve · angle · against optical"]
    assert other.synchronisation.lag_s == pytest.approx(4.3 + STARTED_LATE_S, abs=0.01)
    assert sum("by hand: seen" in text for text in other.cycles.reason) == 1  # carried with it

    of_sleeve = decide(app, 2, "cycle", {"start_s": start, "use": False})
    assert of_sleeve.status == 400
    assert "cut by wearable 'strap'" in of_sleeve.json()["error"]

    undo = decide(app, 3, "undo", {"of": 3}).json()
    assert "reference" not in undo
    assert analysed_again(session) == [0, 2, 3]
    lines = (path.parent / "decisions.jsonl").read_text().splitlines()
    assert [json.loads(line)["kind"] for line in lines] == ["lag", "cycle", "recording", "undo"]
