import json
from dataclasses import replace

import pytest
import typst

from twinangle.analysis.topics import pool_topics
from twinangle.report import write_report
from twinangle.report.answer import CAUTIONS
from twinangle.report.content import (
    LEFT_OUT,
    MANY_RECORDINGS,
    report_content,
    supplement_content,
)
from twinangle.report.document import TEMPLATE, typeset
from twinangle.results.grouping import trial_groups

AWKWARD = '#let x = *1* $y_2$ <z> @w \\ "q" [r] `s` //t'


def files(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def titles(results, figures=None):
    return [section["title"] for section in report_content(results, figures or {})["sections"]]


def titles_behind(results):
    return [section["title"] for section in supplement_content(results, {})["sections"]]


def everything(content):
    """All texts of a content as one string."""
    return json.dumps(content, ensure_ascii=False)


def test_outputs_are_complete(written):
    names = set(files(written))
    assert {
        "report.pdf",
        "report.html",
        "supplement.pdf",
        "methods.txt",
        "tables/trials.csv",
        "tables/exclusions.csv",
    } <= names
    assert "figures/P01_indoor_s1_t1_left_traces.svg" in names
    assert "figures/limits_kalman_indoor.svg" in names
    assert files(written)["report.pdf"].startswith(b"%PDF-")
    assert {name.rpartition(".")[2] for name in names if name.startswith("figures/")} == {"svg"}


def test_bytes_repeat_and_do_not_depend_on_jobs(written, study, tmp_path):
    write_report(study, tmp_path, jobs=2)
    again = files(tmp_path)
    assert again.keys() == files(written).keys()
    for name, data in files(written).items():
        assert again[name] == data, name


def test_what_was_not_asked_for_is_not_made_and_the_rest_is_the_same(written, study, tmp_path):
    said = study.parameters | {"report": {"documents": ["report.html"]}}
    write_report(replace(study, parameters=said), tmp_path)
    whole, few = files(written), files(tmp_path)
    left = {name for name in whole if name.split("/")[0] not in ("supplement.pdf", "paper")}
    left -= {name for name in left if name.endswith(("_traces.svg", "_synchronisation.svg"))}
    left -= {name for name in left if name.endswith("_cycles.svg")}
    assert few.keys() == left - {"figures/distribution.svg", "figures/magnetic_field.svg"}
    assert all(few[name] == whole[name] for name in few.keys() - {"report.html"})
    assert b"supplement was not asked for" in few["report.html"]


def test_report_holds_no_date_and_no_path(written):
    data = (written / "report.pdf").read_bytes()
    assert b"CreationDate" not in data
    page = (written / "report.html").read_bytes()
    assert b"<dc:date>" not in page
    for each in (data, page):
        assert str(written).encode() not in each


def test_names_are_printed_as_they_are(build_results):
    results = build_results(
        participants=(AWKWARD, "P/1", "P-1"), conditions=("in $a_b$",), reference=("in $a_b$",),
        procedures=("k#",), title=AWKWARD, n=6,
    )  # fmt: skip
    content = supplement_content(results, {})
    data = json.dumps(content, ensure_ascii=False)
    compiler = typst.Compiler(TEMPLATE.read_bytes(), sys_inputs={"content": data})
    headings = json.loads(compiler.query("heading.where(level: 1)", field="body"))
    assert f"Participant {AWKWARD}" in [body.get("text") for body in headings]


def test_awkward_names_give_distinct_plain_files(build_results):
    results = build_results(participants=("P/1", "P-1", "p-1", "日本"), procedures=("a",), n=6)
    stems = [group.stem for group in trial_groups(results)]
    assert len({stem.lower() for stem in stems}) == len(stems)
    assert all(stem.isascii() and "/" not in stem for stem in stems)


def test_the_answer_keeps_to_its_page_even_with_many_people(build_results):
    results = build_results(
        participants=[f"P{k:02d}" for k in range(45)], conditions=("indoor",), n=5,
        procedures=("kalman",),
    )  # fmt: skip
    content = report_content(results, {})
    data = json.dumps(content, ensure_ascii=False)
    compiler = typst.Compiler(TEMPLATE.read_bytes(), sys_inputs={"content": data})
    pages = json.loads(
        compiler.eval("query(heading.where(level: 1)).map(h => (h.body.text, h.location().page()))")
    )
    starts = dict(map(tuple, pages))
    assert starts["The answer"] == 1
    assert max(starts.values()) <= 8


def test_cautions_stand_on_the_first_page(study):
    content = report_content(study, {})
    assert content["cautions"] == list(CAUTIONS)
    said = " ".join(CAUTIONS)
    for word in ("research use only", "diagnosis", "code", "reference's own error"):
        assert word in said


def test_sections_of_a_study(study):
    assert titles(study) == [
        "Participants at a glance", "Limits of agreement", "Conditions", "Procedures compared",
        LEFT_OUT, "Error budget", "Margin and settings",
    ]  # fmt: skip
    assert titles_behind(study) == [
        "Every recording", "Participant P01", "Participant P02", "Limits of agreement in full",
        "Conditions in full", "Error budget in numbers", "Reliability",
        "Recordings, clocks and sensors", "Every warning", "Methods", "Input files",
    ]  # fmt: skip


def test_only_a_long_supplement_begins_pages_that_may_leave_others_nearly_empty(study):
    """The tables of every recording end anywhere on a page, and participants follow at once."""
    sections = supplement_content(study, {})["sections"]
    assert not any(section["begins_page"] for section in sections)
    many = tuple(replace(study.trials[0], participant=f"P{k:02d}") for k in range(MANY_RECORDINGS))
    sections = supplement_content(replace(study, trials=many), {})["sections"]
    begun = [section["title"] for section in sections if section["begins_page"]]
    assert begun == ["Every recording", "Limits of agreement in full"]


def test_without_any_reference_there_is_no_agreement(build_results, tmp_path):
    results = build_results(
        participants=("P01",), conditions=("path",), reference=(), procedures=("a",), n=8
    )
    write_report(results, tmp_path)
    content = everything(report_content(results, {}))
    assert "Limits of agreement" not in titles(results)
    assert "No recording has a reference: accuracy was not measured" in content
    assert not list((tmp_path / "figures").glob("limits*"))
    assert not list((tmp_path / "figures").glob("*synchronisation*"))


def test_one_participant_is_said_to_be_one(build_results):
    results = build_results(participants=("P01",), n=12)
    content = everything(report_content(results, {}))
    assert "over the strides of one participant: they say nothing about other people" in content
    assert results.limits[0].value.note in content
    assert "one participant" in results.limits[0].value.note.lower()
    assert "within the one participant" in everything(supplement_content(results, {}))


def test_all_trials_failed(study, fail_trial, tmp_path):
    results = study
    for k in range(len(results.trials)):
        results = fail_trial(results, k, f"file_{k}.csv: no column `a#b`, *there* is $c_1$")
    results = replace(results, **pool_topics(results.trials, results.options))
    write_report(results, tmp_path)
    content = everything(report_content(results, {}))
    assert "No trial could be analysed" in content
    assert "file_3.csv: no column `a#b`, *there* is $c_1$" in content
    assert not list((tmp_path / "figures").iterdir())
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "No trial could be analysed" in page
    assert "<script" not in page
    assert "<svg" not in page
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF-")


@pytest.mark.nightly
def test_long_recordings_stay_small(build_results, tmp_path):
    results = build_results(
        participants=("P01",), conditions=("indoor",), procedures=("a",), minutes=120, n=4000
    )
    write_report(results, tmp_path)
    sizes = {p.name: p.stat().st_size for p in (tmp_path / "figures").glob("P01*")}
    assert sizes
    assert max(sizes.values()) < 400_000
    content = everything(supplement_content(results, {}))
    assert "4000" in content


def test_typesetting_repeats(study, written):
    content = report_content(study, {})
    assert typeset(content, written) == typeset(content, written)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"image_formats": ("jpg",)}, "`image_formats`: expected .*, got 'jpg'"),
        ({"jobs": 0}, "`jobs` must be 1 or more, got 0"),
    ],
)
def test_bad_options_are_refused(study, tmp_path, options, message):
    with pytest.raises(ValueError, match=message):
        write_report(study, tmp_path, **options)


def test_typesetting_tells_what_is_wrong(study, written, tmp_path):
    figures = {f"{g.stem}_traces": ("", "") for g in trial_groups(study)}
    content = supplement_content(study, figures)
    with pytest.raises(RuntimeError, match=r"could not be typeset: .*not found"):
        typeset(content, tmp_path)  # the figures are elsewhere
