import json
from dataclasses import replace

import pytest
import typst

from twinangle.report import write_report
from twinangle.report.content import CAUTIONS, report_content
from twinangle.report.content_records import flat_parameters, reason_kind
from twinangle.report.document import TEMPLATE, covered, typeset
from twinangle.report.grouping import trial_groups

AWKWARD = '#let x = *1* $y_2$ <z> @w \\ "q" [r] `s` //t'


def files(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def titles(results, figures=None):
    return [section["title"] for section in report_content(results, figures or {})["sections"]]


def everything(content):
    """All texts of a content as one string."""
    return json.dumps(content, ensure_ascii=False)


def test_outputs_are_complete(written):
    names = set(files(written))
    assert {"report.pdf", "methods.txt", "tables/trials.csv", "tables/exclusions.csv"} <= names
    assert "figures/P01_indoor_s1_t1_left_traces.pdf" in names
    assert "figures/limits_kalman_indoor.pdf" in names
    assert files(written)["report.pdf"].startswith(b"%PDF-")


def test_bytes_repeat_and_do_not_depend_on_jobs(written, study, tmp_path):
    write_report(study, tmp_path, jobs=2)
    again = files(tmp_path)
    assert again.keys() == files(written).keys()
    for name, data in files(written).items():
        assert again[name] == data, name


def test_report_holds_no_date_and_no_path(written):
    data = (written / "report.pdf").read_bytes()
    assert b"CreationDate" not in data
    assert str(written).encode() not in data


def test_names_are_printed_as_they_are(build_results):
    results = build_results(
        participants=(AWKWARD, "P/1", "P-1"), conditions=("in $a_b$",), reference=("in $a_b$",),
        procedures=("k#",), title=AWKWARD, n=6,
    )  # fmt: skip
    content = report_content(results, {})
    data = json.dumps(content, ensure_ascii=False)
    compiler = typst.Compiler(TEMPLATE.read_bytes(), sys_inputs={"content": data})
    headings = json.loads(compiler.query("heading.where(level: 1)", field="body"))
    assert f"Participant {AWKWARD}" in [body.get("text") for body in headings]


def test_awkward_names_give_distinct_plain_files(build_results):
    results = build_results(participants=("P/1", "P-1", "p-1", "日本"), procedures=("a",), n=6)
    stems = [group.stem for group in trial_groups(results)]
    assert len({stem.lower() for stem in stems}) == len(stems)
    assert all(stem.isascii() and "/" not in stem for stem in stems)


def test_one_page_a_summary_even_with_many_trials(build_results):
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
    assert starts["Every trial"] - starts["Summary"] == 1
    assert starts["Participant P44"] > starts["Participant P00"]


def test_cautions_come_first(study):
    content = report_content(study, {})
    assert content["cautions"] == list(CAUTIONS)
    said = " ".join(CAUTIONS)
    for word in ("research use only", "ethics", "consent", "code", "route", "clinicians", "local"):
        assert word in said


def test_sections_of_a_study(study):
    assert titles(study) == [
        "Summary", "Every trial", "Participant P01", "Participant P02", "Limits of agreement",
        "Procedures compared", "Error budget", "Conditions", "Reliability",
        "Recordings, clocks and sensors", "Exclusions, failures and warnings", "Methods",
        "Parameters and input files",
    ]  # fmt: skip


def test_without_any_reference_there_is_no_agreement(build_results, tmp_path):
    results = build_results(
        participants=("P01",), conditions=("path",), reference=(), procedures=("a",), n=8
    )
    write_report(results, tmp_path)
    content = everything(report_content(results, {}))
    assert "Limits of agreement" not in titles(results)
    assert "No recording has a reference: no agreement is given." in content
    assert not list((tmp_path / "figures").glob("limits*"))
    assert not list((tmp_path / "figures").glob("*synchronisation*"))


def test_one_participant_is_said_to_be_one(build_results):
    results = build_results(participants=("P01",), n=12)
    content = everything(report_content(results, {}))
    assert "With one participant they say nothing about other people." in content
    assert results.limits[0].note in content
    assert "one participant" in results.limits[0].note.lower()
    assert "within the one participant" in content


def test_all_trials_failed(study, fail_trial, tmp_path):
    results = replace(
        study, limits=(), conditions=(), contests=(), budgets=(), equivalence=(), along_cycle=()
    )
    for k in range(len(results.trials)):
        results = fail_trial(results, k, f"file_{k}.csv: no column `a#b`, *there* is $c_1$")
    write_report(results, tmp_path)
    content = everything(report_content(results, {}))
    assert "No trial could be analysed." in content
    assert "file_3.csv: no column `a#b`, *there* is $c_1$" in content
    assert not list((tmp_path / "figures").iterdir())
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF-")


def test_a_failed_procedure_is_named_beside_the_others(study, fail_trial):
    content = everything(report_content(fail_trial(study, 0, "axis not found"), {}))
    assert "kalman failed: axis not found" in content


def test_reasons_are_counted_by_kind(study):
    sections = {s["title"]: s["blocks"] for s in report_content(study, {})["sections"]}
    blocks = sections["Exclusions, failures and warnings"]
    table = next(b for b in blocks if b["kind"] == "table" and b["head"][0] == "Reason")
    dropped = sum(int((~trial.cycles.kept).sum()) for trial in study.trials)
    assert sum(int(cell) for row in table["rows"] for cell in row[1:]) == dropped


@pytest.mark.parametrize(
    ("reason", "kind"),
    [
        ("turning: 41° about the vertical", "turning"),
        ("duration outlier (1.62 s)", "duration outlier"),
        ("stopping", "stopping"),
        (": odd", ": odd"),
    ],
)
def test_reason_kind_leaves_out_the_single_cycle(reason, kind):
    assert reason_kind(reason) == kind


def test_parameters_are_flattened_in_order():
    found = flat_parameters({"a": {"b": None, "c": True}, "d": ("x", "y"), "e": 0.5, "f": []})
    assert found == [("a.b", "not set"), ("a.c", "yes"), ("d", "x, y"), ("e", "0.5"), ("f", "none")]


def test_long_recordings_stay_small(build_results, tmp_path):
    results = build_results(
        participants=("P01",), conditions=("indoor",), procedures=("a",), minutes=120, n=4000
    )
    write_report(results, tmp_path)
    sizes = {p.name: p.stat().st_size for p in (tmp_path / "figures").glob("P01*")}
    assert sizes
    assert max(sizes.values()) < 400_000
    content = everything(report_content(results, {}))
    assert "4000" in content


def test_machine_fonts_are_used_only_where_needed():
    assert covered("Ünal − 41° „x“ Ωμ Жук")
    assert not covered("日本")


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
    content = report_content(study, figures)
    with pytest.raises(RuntimeError, match=r"could not be typeset: .*not found"):
        typeset(content, tmp_path)  # the figures are elsewhere
