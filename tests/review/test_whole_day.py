"""A recording that a run reads in stretches: on the page it has the strides of its daily life."""

from __future__ import annotations

import numpy as np
import pytest
from asking import PORT, TOKEN, ask, post
from walks import write_walks

from twinangle.analysis import analyse_trial
from twinangle.review.server import build_app
from twinangle.review.session import Session
from twinangle.study import read_bare_study, read_study


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """One walk, with a reference for its first half."""
    path = write_walks(tmp_path_factory.mktemp("day"), seconds=60.0, recordings=3)
    row = "participant,condition,wearable,reference\nP02,home,w2.csv,r2.csv\n"
    (path.parent / "trials.csv").write_text(row)
    seen = (path.parent / "r2.csv").read_text().splitlines()
    (path.parent / "r2.csv").write_text("\n".join([*seen[: len(seen) // 2], ""]))
    path.write_text(path.read_text() + "[daily_life]\nstretch_min = 5\n")
    return path


@pytest.fixture(scope="module")
def session(path):
    made = Session(read_bare_study(path), who="R1", blind=False)
    made.begin()
    yield made
    made.end()


def test_strides_without_a_reference_are_those_of_daily_life(path, session, waiting):
    waiting(session)
    app = build_app(session, token=TOKEN, port=PORT, stop=lambda: None)
    (run,) = analyse_trial(read_study(path), read_study(path).trials[0])
    shown = ask(app, "api/recording/0").json()
    kept = np.array([not text for text in shown["cycles"]["reason"]])
    assert shown["day"]
    assert kept.sum() == run.daily.n_strides > run.cycles.kept.sum() + 10
    assert shown["row"]["kept"] == kept.sum()
    assert not any("cycles" in flag["topic"] for flag in shown["row"]["flags"])
    mean = run.cycles.wearable_deg[run.cycles.kept].mean(axis=0)
    assert shown["curve"]["wearable"] == pytest.approx(mean, abs=0.01)

    last = float(np.array(shown["cycles"]["start_s"])[kept][-3])
    value = {"start_s": last, "use": False}
    thought = post(app, "api/effect/0", {"kind": "cycle", "value": value}).json()["own"]
    assert thought["with"]["kept"] == thought["now"]["kept"] == run.cycles.kept.sum()
    given = {"kind": "cycle", "value": value, "why": "seen", "who": "R1"}
    assert post(app, "api/decide/0", given).status == 200
    waiting(session)
    reasons = ask(app, "api/recording/0").json()["cycles"]["reason"]
    assert reasons.count("by hand: seen") == 1
    told = post(app, "api/effect/0", {}).json()["own"]
    assert told["automatic"] == told["now"]  # both of the recording read whole
    decided = read_study(path)
    (found,) = analyse_trial(decided, decided.trials[0])
    assert found.daily.n_strides == run.daily.n_strides - 1
    assert [one.start_s for one in found.daily.by_hand] == pytest.approx([last])
    assert found.agreement.offset == run.agreement.offset
