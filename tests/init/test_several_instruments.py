"""Folders in which several instruments recorded at once: one pair is proposed, the rest is told."""

import numpy as np
import pandas as pd
import pytest

from twinangle.init import propose_study, write_proposal
from twinangle.init.messages import grouped
from twinangle.init.paths import identity, place_of

CLOCK = np.arange(60) / 60
COLUMNS = {
    "A": [f"{s}_{k}_{x}" for s in ("thigh", "shank") for k in ("acc", "gyr") for x in "xyz"],
    "B": ["knee_flex"],
    "gon": ["gonio"],
    "opt": ["Frame", "RKneeFlex"],
}


def write(path, names):
    path.parent.mkdir(exist_ok=True)
    values = dict.fromkeys(names, np.sin(CLOCK).round(4))
    pd.DataFrame({"time_s": CLOCK.round(4)} | values).to_csv(path, index=False)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two people over two days, the references indoors alone."""
    folder = tmp_path_factory.mktemp("programme")
    for person in ("P01", "P02"):
        for day in (1, 2):
            for place, labels in (("indoor", COLUMNS), ("outdoor", ("A", "B"))):
                for label in labels:
                    write(folder / person / f"day{day}_{place}_{label}.csv", COLUMNS[label])
    return folder


@pytest.fixture(scope="module")
def proposal(folder):
    found = propose_study(folder)
    write_proposal(folder, found)
    return found


def test_days_are_sessions_and_instruments_no_conditions(folder, proposal):
    rows = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    assert set(rows["session"]) == {"1", "2"}
    assert set(rows["condition"]) == {"indoor", "outdoor"}
    assert len(rows) == 8
    assert all(name.endswith("_A.csv") for name in rows["wearable"])
    indoor = rows["condition"] == "indoor"
    assert all(name.endswith("_gon.csv") for name in rows["reference"][indoor])
    assert set(rows["reference"][~indoor]) == {""}
    assert 'angle = "gonio"' in proposal.study_toml


def test_one_line_tells_of_the_others_and_of_the_page(proposal):
    (line,) = [text for text in proposal.open_questions if "instruments" in text]
    assert "4 instruments recorded at once, 'A', 'B', 'gon' and 'opt'" in line
    assert "proposed are 'A' and 'gon'" in line
    assert "docs/how-to/several-instruments.md" in line
    assert "[wearables.NAME]" in line
    assert "'B' and 'opt' (12 files" in line


def test_what_holds_for_many_files_is_told_once(proposal):
    assert len(proposal.recognised) == 3
    assert proposal.recognised[2] == (
        "trials.csv, 8 rows, by the names: 2 participants (P01, P02); 2 sessions (1, 2); "
        "2 conditions (indoor, outdoor); trial (1)"
    )
    assert proposal.recognised[0].endswith("and 6 more files: wearable")
    assert len(proposal.open_questions) < 12


def test_conditions_of_one_layout_are_no_instruments(tmp_path):
    for place in ("slow", "usual", "fast"):
        write(tmp_path / f"P01_{place}.csv", COLUMNS["A"])
    found = propose_study(tmp_path)
    assert not any("instruments" in text for text in found.open_questions)
    assert "P01,1,slow" in found.trials_csv


def test_angles_alone_leave_a_wearable_and_a_reference(tmp_path):
    for person in ("P01", "P02"):
        for label in ("B", "gon", "opt"):
            write(tmp_path / f"{person}_walk_{label}.csv", COLUMNS[label])
    found = propose_study(tmp_path)
    assert "P01_walk_B.csv,P01_walk_gon.csv" in found.trials_csv


@pytest.mark.parametrize(
    ("path", "session"),
    [("P01/day2_indoor", "2"), ("P01_visit3", "3"), ("P01_ses-pre", "pre"), ("P01 day 2", "2"),
     ("P01_session1_visit2", "1-2"), ("P01_daylight", "1"), ("P01_indoor", "1"),
     ("P01_s2_indoor", "2"), ("s2/P01_indoor", "2"), ("P01_D2", "2"), ("sub7_v3", "3"),
     ("S01_s2", "2")],
)  # fmt: skip
def test_sessions_go_by_several_words(path, session):
    assert identity(place_of(path).tokens)["session"] == session


def test_few_files_are_told_one_by_one():
    texts = ["a.csv: odd", "b.csv: odd", "study.toml: open", "c.csv: fine"]
    assert grouped(texts, ["a.csv", "b.csv", "c.csv"]) == tuple(texts)
