"""What the answer rests on: the people, recordings and cycles of its own wearable and reference.

The results are invented: nobody was recorded.
"""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

import twinangle.closing
from twinangle.analysis.topics import pool_topics
from twinangle.report.content import LEFT_OUT, report_content
from twinangle.report.methods import methods_text
from twinangle.report.paper.texts import results_document
from twinangle.results.answer import answer_of
from twinangle.results.answer_words import answer_sentences, rests_on
from twinangle.results.failures import failed_by_wearable, failure_lines
from twinangle.under_test import NOT_RECORDED

PEOPLE = ("P01", "P02", "P03", "P04")
STRAP, SLEEVE = "strap · kalman · against gonio", "sleeve · kalman · against gonio"
OPTICAL = "strap · kalman · against optical"
SPLIT = (
    "P01_strap.csv seems to have lost {lost} s of samples at about 24.0 s on its own clock: no one "
    "clock fits both. The lag to '{other}' steps there by as much."
)


def failing(results, *wanted, reason="no cycles.", status="failed", pool=True):
    """Results of a run in which some trials failed: (participant, condition, procedure)."""
    trials = tuple(
        replace(
            trial, status=status, reason=reason, cycles=None, agreement=None, variability=None,
            synchronisation=None, clock=None, budget=None,
        )
        if (trial.participant, trial.condition, trial.procedure) in wanted
        else trial
        for trial in results.trials
    )  # fmt: skip
    topics = pool_topics(trials, results.options) if pool else {}
    return replace(results, trials=trials, **topics)


def kept(results, procedure, *conditions):
    return sum(
        int(t.cycles.kept.sum())
        for t in results.trials
        if t.status == "ok" and t.procedure == procedure and t.condition in conditions
    )


@pytest.fixture(scope="module")
def several(build_results):
    """Two wearables against one reference indoors, by four people."""
    return build_results(participants=PEOPLE, procedures=(STRAP, SLEEVE), n=10, minutes=0.1)


@pytest.fixture(scope="module")
def one_failed(several):
    """The first person's strap failed indoors, and so did half of what the sleeve did."""
    gone = [(who, "indoor", STRAP) for who in ("P01", "P02")]
    return failing(several, *gone, ("P04", "indoor", SLEEVE))


def test_cycles_of_the_other_wearable_are_not_counted(one_failed):
    answer = answer_of(one_failed)
    assert answer.procedure == STRAP  # though the first recording gave the sleeve's numbers alone
    both, inside = kept(one_failed, STRAP, "indoor", "outdoor"), kept(one_failed, STRAP, "indoor")
    assert rests_on(one_failed).startswith(
        f"These numbers, of {STRAP}, rest on 4 participants, 6 recordings of 8 (2 could not be "
        f"analysed) and {both} cycles; with a reference, 2 participants, 2 recordings and {inside} "
        "cycles."
    )
    strap = [one.value.limits for one in one_failed.limits if one.procedure == STRAP]
    assert (strap[0].n_participants, strap[0].n_observations) == (2, inside)


def test_intervals_are_said_to_be_over_those_with_a_reference(several):
    alone = failing(several, *[(who, "indoor", STRAP) for who in PEOPLE[:3]])
    said = rests_on(alone)
    assert "Against the reference, intervals are over the strides of one participant" in said
    assert "Intervals are over participants." in rests_on(several)
    lone = failing(several, *[(who, "indoor", SLEEVE) for who in PEOPLE[:3]])
    assert (
        "Intervals are over participants; where one participant stands alone, over that person's "
        "strides, which says nothing about other people." in rests_on(lone)
    )


def test_that_much_of_the_pair_failed_stands_first(one_failed, several):
    first = answer_sentences(one_failed)[0]
    assert first.startswith(
        f"2 of 4 recordings under “indoor” (50 %) could not be analysed by {STRAP}: what follows is"
    )
    few = failing(several, ("P01", "indoor", STRAP))
    assert "could not be analysed" not in " ".join(answer_sentences(few))
    other = failing(several, *[(who, "indoor", SLEEVE) for who in PEOPLE[:2]])
    assert "could not be analysed" not in " ".join(answer_sentences(other))


def test_where_all_rest_on_as_much_none_is_named(several):
    assert rests_on(several).startswith("These numbers rest on 4 participants, 8 recordings and ")


def test_one_wearable_of_two_procedures_of_which_one_failed(larger):
    some = failing(larger, ("P01", "indoor", "kalman"), ("P02", "indoor", "kalman"))
    said = rests_on(some)
    assert said.startswith("These numbers, of kalman, rest on 2 participants, 2 recordings of 4")
    assert answer_sentences(some)[0].startswith("2 of 4 recordings (50 %) could not be analysed by")


def test_a_recording_without_the_wearable_is_none_of_its_recordings(several):
    gone = [("P04", condition, STRAP) for condition in ("indoor", "outdoor")]
    fewer = failing(several, *gone, reason=f"{NOT_RECORDED}strap", status="excluded")
    said = rests_on(fewer)
    assert f"of {STRAP}, rest on 3 participants, 6 recordings and" in said
    assert "excluded" not in said
    assert answer_of(fewer).n_recordings == 8


def test_further_conditions_with_a_reference_are_not_counted_as_the_limits(build_results):
    results = build_results(participants=PEOPLE[:3], reference=("indoor", "outdoor"), n=8,
                            minutes=0.1)  # fmt: skip
    inside = kept(results, "kalman", "indoor")
    told = f"with a reference, under “indoor”, 3 participants, 3 recordings and {inside} cycles"
    assert told in rests_on(results)


def test_paper_and_methods_count_each_pair_by_itself(one_failed, several):
    said = results_document(one_failed)
    assert "Of 8 recordings, 8 were analysed in one way at least." in said
    inside = kept(one_failed, STRAP, "indoor")
    assert "strap against gonio: 6 of 8 recordings were analysed (4 participants" in said
    assert f"2 failed; 2 had a reference (2 participants, {inside} cycles)" in said
    assert "sleeve against gonio: 7 of 8 recordings were analysed" in said
    methods = methods_text(one_failed)
    assert "by strap against gonio 6 recordings of 4 participants, of which 2 of 2" in methods
    assert "found, counted for each wearable by itself, " in methods
    assert "Not all of them could be analysed in every way" not in methods_text(several)
    assert "Of 8 recordings, 8 of 4 participants were analysed" in results_document(several)


def test_a_notebook_counts_recordings_of_any_wearable(one_failed):
    assert "8 recordings, 8 analysed, by" in str(one_failed).splitlines()[0]


def test_a_tie_says_how_many_people_and_recordings_it_is_of(larger):
    (said,) = [each for each in answer_sentences(larger) if "RMS of the demeaned diff" in each]
    assert "difference, in 4 participants and 4 recordings, vqf and kalman" in said
    fewer = failing(larger, ("P01", "indoor", "vqf"))
    (said,) = [each for each in answer_sentences(fewer) if "RMS of the demeaned diff" in each]
    assert ", in 3 participants and 3 recordings, " in said


@pytest.fixture(scope="module")
def two_references(build_results):
    """The strap's first file lost samples, which each reference shows with figures of its own."""
    results = build_results(
        participants=PEOPLE[:2], conditions=("indoor",), n=8, minutes=0.1,
        procedures=(STRAP, OPTICAL, SLEEVE, SLEEVE.replace("kalman", "vqf")),
    )  # fmt: skip
    for procedure, lost, other in ((STRAP, "0.560", "optical"), (OPTICAL, "0.555", "gonio")):
        reason = SPLIT.format(lost=lost, other=other)
        results = failing(results, ("P01", "indoor", procedure), reason=reason, pool=False)
    return results


def test_a_failure_of_a_file_is_told_once(two_references):
    (line,) = failure_lines(two_references)
    assert "(strap): P01_strap.csv seems to have lost 0.560 s" in line
    assert "0.555" not in line
    assert line.endswith("(Figures are against gonio; those against optical: tables/trials.csv.)")
    report = {one["title"]: one["blocks"] for one in report_content(two_references, {})["sections"]}
    tables = [one for one in report[LEFT_OUT] if one["kind"] == "table"]
    (row,) = next(one["rows"] for one in tables if one["head"][-1] == "Reason")
    assert row[:3] == ["P01", "indoor, strap", "strap"]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("reference: a correlation of 0.71 only.", "reference: a correlation of 0.60 only."),
        ("P01_1.csv: the sensor fell off.", "P01_2.csv: the sensor fell off."),
        ("P01_strap.csv: too few cycles.", "P01_strap.csv: no standing was found."),
    ],
)
def test_failures_of_two_files_or_of_two_kinds_stay_two(several, first, second):
    results = failing(several, ("P01", "indoor", STRAP), reason=first, pool=False)
    results = failing(results, ("P01", "indoor", SLEEVE), reason=second, pool=False)
    assert len(failure_lines(results)) == 2


def test_how_many_of_each_wearable_failed_is_one_line(two_references, several, monkeypatch):
    told = failed_by_wearable(two_references)
    each = "1 of 2 recordings of strap and 0 of 2 recordings of sleeve"
    assert told == f"Could not be analysed: {each}."
    half = failing(two_references, ("P02", "indoor", SLEEVE), pool=False)
    assert failed_by_wearable(half).endswith("and 0 of 2 recordings of sleeve and 1 more in part.")
    assert failed_by_wearable(several) == ""
    out = io.StringIO()
    console = Console(file=out, width=160, color_system=None, markup=False, highlight=False)
    monkeypatch.setattr(twinangle.closing, "Console", lambda **_: console)
    twinangle.closing.print_closing(two_references, Path("results"))
    lines = out.getvalue().splitlines()
    assert lines.count(told) == 1
    assert sum(line.startswith("Failed: ") for line in lines) == 1
