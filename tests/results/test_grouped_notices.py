"""Warnings over a run: a row a kind, the gravest first, the worst as the example."""

from dataclasses import replace
from html import unescape

import pytest

from twinangle.notices import Notice
from twinangle.report.content import LEFT_OUT, report_content, supplement_content
from twinangle.results.failures import failure_lines
from twinangle.results.notices import (
    gravest,
    grouped_notices,
    named_recordings,
    warning_line,
)


def told(study, by_trial):
    """The study with the warnings given, by (participant, condition) or for all."""
    trials = [
        replace(
            trial,
            warnings=tuple(
                text
                for (code, condition, procedure), text in by_trial
                if code in ("", trial.participant)
                and condition in ("", trial.condition)
                and procedure in ("", trial.procedure)
            ),
            synchronisation=None,
            cycles=replace(trial.cycles, warnings=()),
        )
        for trial in study.trials
    ]
    return replace(study, trials=tuple(trials))


@pytest.fixture(scope="module")
def results(study):
    return told(
        study,
        [
            (("", "", ""), Notice("few.", "few-cycles")),
            (("P01", "indoor", ""), Notice("bias 2 °/s.", "gyroscope-bias", "grave", 2.0)),
            (("P02", "indoor", "vqf"), Notice("bias 7 °/s.", "gyroscope-bias", "grave", 7.0)),
            (("", "outdoor", ""), Notice("read so.", "how-it-was-read", "note")),
            (("P02", "", ""), "a plain one."),
        ],
    )


def test_one_row_a_kind_the_gravest_first(results):
    rows = grouped_notices(results)
    assert [row.kind for row in rows] == [
        "gyroscope-bias",
        "few-cycles",
        "other",
        "how-it-was-read",
    ]
    assert [row.gravity for row in rows] == ["grave", "warning", "warning", "note"]
    assert [row.n_recordings for row in rows] == [2, 4, 2, 2]


def test_the_example_is_the_worst_not_the_first(results):
    worst = grouped_notices(results)[0]
    assert (worst.text, worst.worst) == ("bias 7 °/s.", "P02 indoor (vqf)")
    assert worst.trials == ("P01 indoor", "P02 indoor (vqf)")
    assert not worst.alike


def test_notes_are_no_warnings(results):
    rows = grouped_notices(results)
    assert all(row.gravity != "note" for row in gravest(rows, 9))
    assert len(gravest(rows)) == 3


def test_all_recordings_are_named_as_all(results):
    rows = grouped_notices(results)
    assert named_recordings(rows[1], results) == "all 4 recordings"
    assert named_recordings(rows[0], results, most=1) == "P01 indoor and 1 more"
    line = warning_line(rows[0], results)
    assert line.startswith("Look at this first: P02 indoor (vqf): bias 7 °/s.")
    assert line.endswith(
        "This is the worst case; the warning concerns P01 indoor; P02 indoor (vqf)."
    )
    alike = warning_line(rows[1], results)
    assert alike == "Warning: few. Concerns all 4 recordings."


def test_the_report_has_them_in_the_same_order(results):
    report = {one["title"]: one["blocks"] for one in report_content(results, {})["sections"]}
    (first,) = [one for one in report[LEFT_OUT] if one["kind"] == "list"][:1]
    worst = [line.rsplit(": ", 1)[-1] for line in first["items"]]
    assert worst == ["bias 7 °/s.", "few.", "a plain one."]
    full = {one["title"]: one["blocks"] for one in supplement_content(results, {})["sections"]}
    (table,) = [one for one in full["Every warning"] if one["kind"] == "table"]
    shown = [row[0] for row in table["rows"]]
    assert shown == ["Grave: bias 7 °/s.", "few.", "a plain one.", "Note: read so."]


def test_a_notebook_shows_failures_and_the_gravest_warnings_as_the_terminal_does(results):
    failed = replace(results.trials[0], status="failed", reason="the sensor fell off.")
    troubled = replace(results, trials=(failed, *results.trials[1:]))
    (line,) = failure_lines(troubled)
    assert line == f"Failed: {failed.label} ({failed.procedure}): the sensor fell off."
    rows = gravest(grouped_notices(troubled))
    told_there = [line, *(warning_line(row, troubled) for row in rows)]
    assert len(told_there) == 4
    html, whole = unescape(troubled._repr_html_()), str(troubled)
    for text in told_there:
        assert text in html
        assert text in whole
    assert "Failed: " not in str(results)
