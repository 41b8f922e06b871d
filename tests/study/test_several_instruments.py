"""Several wearables and references in the study file and the trials table."""

from dataclasses import replace
from pathlib import Path

import pytest

from twinangle.errors import StudyError
from twinangle.study import read_study
from twinangle.study.instruments import Header

HEAD = """\
[study]
title = "Two devices"
joint = "knee"
trials = "trials.csv"

"""
DEVICE = """\
[wearables.{name}]
kind = "angle"
time = "time_s"
angles = {{ a = "one", b = "two" }}

"""
REFERENCE = """\
[{place}]
kind = "angle"
time = "time_s"
angle = "knee"

"""


def write(folder: Path, text: str, *rows: str, files: tuple[str, ...] = ()) -> Path:
    """Write a study with files that hold nothing, which reading a study does not open."""
    (folder / "study.toml").write_text(HEAD + text, encoding="utf-8")
    (folder / "trials.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    for name in files:
        (folder / name).write_text("", encoding="utf-8")
    return folder / "study.toml"


def fault(path: Path) -> str:
    with pytest.raises(StudyError) as caught:
        read_study(path)
    return str(caught.value)


TWO = DEVICE.format(name="strap") + DEVICE.format(name="sleeve")


@pytest.fixture
def study(tmp_path):
    text = TWO + REFERENCE.format(place="reference")
    text += '[wearables.sleeve.synchronisation]\nmethod = "shared-clock"\n'
    return read_study(
        write(
            tmp_path,
            text,
            "participant,wearable_strap,wearable_sleeve,reference,start_s,wearable_sleeve_start_s,"
            "wearable_sleeve_sign,age",
            "P1,a.csv,b.csv,r.csv,1,2,-1,30",
            "P2,a2.csv,,r.csv,3,,,40",
            files=("a.csv", "b.csv", "r.csv", "a2.csv"),
        )
    )


def test_every_wearable_is_a_plain_study_of_the_same_rows(study):
    strap, sleeve = (part.study for part in study.parts)
    assert [part.wearable for part in study.parts] == ["strap", "sleeve"]
    assert [part.reference for part in study.parts] == ["", ""]
    assert [trial.wearable.name for trial in strap.trials] == ["a.csv", "a2.csv"]
    assert sleeve.trials[0].wearable.name == "b.csv"
    assert [trial.start_s for trial in strap.trials] == [1.0, 3.0]
    assert sleeve.trials[0].start_s == 2.0
    assert (strap.trials[0].wearable_sign, sleeve.trials[0].wearable_sign) == (None, -1)
    assert strap.synchronisation.method == "cross-correlation"
    assert sleeve.synchronisation.method == "shared-clock"
    assert all(trial.covariates.keys() == {"age"} for trial in sleeve.trials)


def test_a_wearable_that_was_not_worn_is_excluded_and_says_so(study):
    rows = {part.wearable: own for part, own in study.rows_of(study.trials[1])}
    assert rows["sleeve"].exclude == "no recording of sleeve"
    assert not rows["strap"].exclude
    assert study.recording_keys[0] == ("P1", "1", "all", "1", "", "strap")


def test_an_exclusion_holds_for_every_wearable(study):
    both = study.rows_of(replace(study.trials[0], exclude="fell"))
    assert [own.exclude for _, own in both] == ["fell", "fell"]


def test_both_sections_at_once_are_refused(tmp_path):
    text = TWO + DEVICE.format(name="x").replace("[wearables.x]", "[wearable]")
    said = fault(write(tmp_path, text, "participant,wearable", "P1,a.csv", files=("a.csv",)))
    assert "both [wearable] and [wearables.…] are there; accepted: one of them" in said


def test_a_fault_names_the_section_and_line_of_its_own_wearable(tmp_path):
    text = TWO.replace('b = "two" }', 'b = "two" }\nspeed = 3', 1)
    path = write(tmp_path, text, "participant,wearable", "P1,a.csv", files=("a.csv",))
    said = fault(path)
    assert "study.toml, line 10: [wearables.strap] `speed` is not a known key" in said
    assert said.count("speed") == 1


def test_faults_of_cells_name_the_own_column(tmp_path):
    path = write(
        tmp_path,
        TWO,
        "participant,wearable_strap,wearable_sleeve,wearable_sleeve_start_s",
        "P1,a.csv,none.csv,soon",
        files=("a.csv",),
    )
    said = fault(path)
    assert "row 2, column 'wearable_sleeve': file 'none.csv' does not exist" in said
    assert "row 2, column 'wearable_sleeve_start_s': is 'soon'" in said


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("wearable_sleve", "[wearables] has 'strap' and 'sleeve'"),
        ("wearable_strap_begin", "column 'wearable_strap_begin' is not known"),
    ],
)
def test_a_column_of_no_wearable_is_no_covariate(tmp_path, column, words):
    path = write(
        tmp_path,
        TWO,
        f"participant,wearable_strap,wearable_sleeve,{column}",
        "P1,a.csv,a.csv,1",
        files=("a.csv",),
    )
    assert words in fault(path)


def test_a_missing_column_is_asked_for_by_its_own_name(tmp_path):
    path = write(tmp_path, TWO, "participant,wearable_strap", "P1,a.csv", files=("a.csv",))
    assert "column 'wearable_sleeve' is missing" in fault(path)


def test_a_row_without_any_wearable_is_refused(tmp_path):
    path = write(tmp_path, TWO, "participant,wearable_strap,wearable_sleeve", "P1,,")
    assert "row 2: names a file of none of the wearables" in fault(path)


@pytest.mark.parametrize("name", ['"müller"', '"a b"', '"sign"'])
def test_names_that_no_column_can_have_are_refused(tmp_path, name):
    path = write(
        tmp_path, DEVICE.format(name=name) + TWO, "participant,wearable", "P1,a.csv",
        files=("a.csv",),
    )  # fmt: skip
    assert "accepted are letters" in fault(path) or "two meanings" in fault(path)


def test_a_procedure_may_not_hold_what_parts_names(tmp_path):
    text = TWO.replace("a = ", '"a · b" = ', 1)
    path = write(tmp_path, text, "participant,wearable", "P1,a.csv", files=("a.csv",))
    assert "[wearables.strap] has ' · ' in 'a · b'" in fault(path)


def test_one_file_under_two_names_is_refused(tmp_path):
    path = write(tmp_path, TWO, "participant,wearable", "P1,a.csv", files=("a.csv",))
    assert "row 2: wearables 'strap' and 'sleeve' are the same columns of the same" in fault(path)


def test_references_and_wearables_cross(tmp_path):
    text = TWO + REFERENCE.format(place="references.gonio")
    text += REFERENCE.format(place="references.optical")
    study = read_study(
        write(
            tmp_path,
            text,
            "participant,wearable_strap,wearable_sleeve,reference_gonio,reference_optical,"
            "reference_optical_sign",
            "P1,a.csv,b.csv,g.csv,o.csv,-1",
            "P2,a.csv,b.csv,g.csv,,",
            files=("a.csv", "b.csv", "g.csv", "o.csv"),
        )
    )
    names = [(part.wearable, part.reference) for part in study.parts]
    assert names == [
        ("strap", "gonio"), ("strap", "optical"), ("sleeve", "gonio"), ("sleeve", "optical"),
    ]  # fmt: skip
    first, second = (part.study.trials for part in study.parts[:2])
    assert (first[0].sign, second[0].sign) == (None, -1)
    assert second[0].reference.name == "o.csv"
    assert second[1].exclude == "no recording of optical"
    assert study.parts[1].named("a") == "strap · a · against optical"


def test_one_named_wearable_is_a_plain_one(tmp_path):
    path = write(
        tmp_path, DEVICE.format(name="only"), "participant,wearable_only", "P1,a.csv",
        files=("a.csv",),
    )  # fmt: skip
    study = read_study(path)
    assert [part.named("a") for part in study.parts] == ["a"]


def test_an_own_cell_goes_before_the_shared_one():
    header = Header("a", "", {"wearable": ("a", "b"), "reference": ()})
    row = {"start_s": "1", "wearable_a_start_s": "2", "wearable_b_start_s": "3", "mask": "m"}
    assert header.cells(row) == {"start_s": "2", "mask": "m"}
    assert header.cells(row | {"wearable_a_start_s": ""}) == {"start_s": "1", "mask": "m"}


def test_one_of_several_wearables_is_varied_by_its_name(study):
    other = study.with_(
        wearables={"sleeve": {"sign": -1, "synchronisation": {"max_lag_s": 7}}},
        acceptable_deg=3,
        cycles={"movement": "exercise"},
    )
    strap, sleeve = (part.study for part in other.parts)
    assert (strap.wearable.sign, sleeve.wearable.sign) == (1, -1)
    before = [part.study.synchronisation.max_lag_s for part in study.parts]
    assert [strap.synchronisation.max_lag_s, sleeve.synchronisation.max_lag_s] == [before[0], 7]
    assert {part.study.agreement.acceptable_deg for part in other.parts} == {3.0}
    assert {part.study.cycles.movement for part in other.parts} == {"exercise"}
    assert (other.agreement, other.wearable) == (strap.agreement, strap.wearable)
    assert "[wearables.sleeve] sign from 1 to -1" in other.warnings[-1]
    assert study.parts[1].study.wearable.sign == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"wearable": {"sign": -1}},
            "has 'strap' and 'sleeve'. Say of which",
        ),
        ({"wearables": {"strip": {}}}, "`wearables` has no 'strip'. Did you mean 'strap'?"),
        ({"references": {"optical": {}}}, "the study has no [references.NAME]"),
        ({"wearables": {"strap": {"sign": 2}}}, "[wearables.strap] `sign` must be 1"),
        ({"wearables": {"strap": {"kind": "inertial"}}}, "[wearables.strap] `kind` says what"),
        ({"wearables": {"strap": 3}}, "takes a mapping of keys, got 3"),
    ],
)
def test_what_cannot_be_varied_of_several_is_told(study, changes, words):
    with pytest.raises(StudyError) as caught:
        study.with_(**changes)
    assert words in str(caught.value)
