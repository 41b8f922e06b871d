"""The sheet on paper: one to two pages, accessible, grey, never half written."""

import re

import pytest
from tests.protocol.conftest import DEVICE, GONIOMETER, SENSORS, table
from tests.report.test_accessible import objects_of

from twinangle.cli import main
from twinangle.errors import StudyError
from twinangle.protocol import session_sheet, write_sheet


@pytest.fixture
def sheet(planned):
    return session_sheet(planned(SENSORS.format(more=""), GONIOMETER, trials=table()))


def test_the_pdf_is_accessible_and_the_same_each_time(sheet, tmp_path):
    first = write_sheet(sheet, tmp_path / "a.pdf").read_bytes()
    assert first == write_sheet(sheet, tmp_path / "b.pdf").read_bytes()
    # ISO 14289-1, 5 and 7: identification, title shown, language, tags.
    data = objects_of(first)
    assert re.search(rb"pdfuaid:part(>|=\")1", data)
    assert re.search(rb"/Marked\s+true", data)
    assert re.search(rb"/Lang\s*\(en", data)
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 2


def test_a_study_that_asks_for_everything_stays_on_two_pages(planned, tmp_path):
    reference = """
unit = "V"
calibration = "protractor.csv"
limits = [-4.8, 4.8]
zero_at_standing = true
[synchronisation]
method = "event"
[agreement]
acceptable_deg = 5.0
[wearable.files]
proximal = "{wearable}_thigh.csv"
distal = "{wearable}_shank.csv"
"""
    folder = planned(SENSORS.format(more=""), GONIOMETER, reference, trials=table())
    data = objects_of(write_sheet(session_sheet(folder), tmp_path / "a.pdf").read_bytes())
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 2


def test_only_black_and_grey_are_printed(sheet, tmp_path):
    data = objects_of(write_sheet(sheet, tmp_path / "a.pdf").read_bytes())
    coloured = re.compile(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG|sc|SC|scn|SCN)\b")
    assert coloured.search(b"0.09 0.31 0.56 scn")  # as the report's blue is written
    assert all(len(set(colour)) == 1 for colour in coloured.findall(data))
    assert re.search(rb"[\d.]+ (g|G|scn|SCN)\b", data)


def test_the_command_prints_without_out_and_writes_with_it(planned, tmp_path, capsys, monkeypatch):
    folder = planned(DEVICE, trials=table(conditions=("hall",)).replace(",reference", ",note"))
    for words in ([], ["--out", str(tmp_path / "sheet.md")]):
        monkeypatch.setattr("sys.argv", ["twinangle", "protocol", str(folder), *words])
        with pytest.raises(SystemExit) as left:
            main()
        assert left.value.code == 0
    printed = capsys.readouterr().out
    assert printed.startswith("# Session sheet: Invented plan")
    assert (tmp_path / "sheet.md").read_text() in printed
    assert "Written:" in printed


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("sheet.doc", "ends in none of"),
        ("study/study.toml", "ends in none of"),
        ("", "ends in none"),
    ],
)
def test_a_name_that_cannot_be_a_sheet_is_refused(sheet, tmp_path, name, said):
    with pytest.raises(StudyError, match=said):
        write_sheet(sheet, tmp_path / name)


def test_no_file_of_the_study_is_written_over(planned, tmp_path):
    rows = "participant,wearable\nP01,walk.txt\n"
    folder = planned(DEVICE, trials=rows)
    (folder / "walk.txt").write_text("t,flex\n")
    with pytest.raises(StudyError, match="is a file of the study"):
        write_sheet(session_sheet(folder), folder / "walk.txt")
    assert (folder / "walk.txt").read_text() == "t,flex\n"
    assert sorted(path.name for path in folder.iterdir()) == [
        "study.toml",
        "trials.csv",
        "walk.txt",
    ]


def test_a_fault_of_the_study_ends_in_words(planned, capsys, monkeypatch):
    folder = planned(DEVICE.replace("'angle'", "'angel'"))
    monkeypatch.setattr("sys.argv", ["twinangle", "protocol", str(folder)])
    with pytest.raises(SystemExit) as left:
        main()
    said = capsys.readouterr().err
    assert left.value.code == 1
    assert "kind" in said
    assert "Traceback" not in said
