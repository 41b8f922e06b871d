"""The first page of several wearables and references, and what it says of ties and of few people.

The results are invented: nobody was recorded.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.plotting.ranking import draw_contests
from twinangle.report.content import report_content
from twinangle.report.paper.tables import paper_tables
from twinangle.results import given
from twinangle.results.answer_words import LOWER_VALUE, answer_sentences
from twinangle.results.comparison_words import ties_sentence
from twinangle.results.pair_words import MOST_PAIRS, pair_sentences
from twinangle.under_test import under_test

PEOPLE = ("P01", "P02", "P03", "P04")
STRAP, SLEEVE = "strap · kalman · against gonio", "sleeve · kalman · against gonio"
SYNCHRONISATION = Path(__file__).parents[2] / "docs/background/synchronisation.md"


@pytest.fixture(scope="module")
def one_failed(build_results, fail_trial):
    """Two wearables against one reference; P04's sleeve failed."""
    results = build_results(
        participants=PEOPLE, conditions=("indoor",), procedures=(STRAP, SLEEVE), n=10, minutes=0.1
    )
    trials = fail_trial(results, len(results.trials) - 1, "no cycles").trials
    return replace(results, trials=trials, **pool_topics(trials, results.options))


def table_of_pairs(results):
    (table,) = [b for b in report_content(results, {})["first"] if b["kind"] == "table"]
    return table


def test_every_wearable_has_a_line_with_its_accuracy_and_its_failures(one_failed):
    lead, *lines = pair_sentences(one_failed)
    assert lead.startswith("Each wearable against each reference")
    limits = {one.procedure: one.value.limits for one in one_failed.limits
              if one.quantity == "mean_deg"}  # fmt: skip
    ends = {"4 participants, 4 of 4 recordings.": STRAP,
            "3 participants, 3 of 4 recordings, 1 could not be analysed.": SLEEVE}  # fmt: skip
    for line, (end, name) in zip(lines, ends.items(), strict=True):
        bias = f"{limits[name].bias:.2f}°".replace("-", "−")
        assert line.startswith(f"{name}: off by {bias}")
        assert line.endswith(end)
    rows = table_of_pairs(one_failed)["rows"]
    assert [row[:4] for row in rows] == [
        ["strap · kalman", "gonio", "indoor", "4"], ["sleeve · kalman", "gonio", "indoor", "3"],
    ]  # fmt: skip
    assert [row[4] for row in rows] == ["4 / 4", "3 / 4"]


def test_a_wearable_of_which_nothing_worked_is_told_too(one_failed, fail_trial):
    results = one_failed
    for k, trial in enumerate(one_failed.trials):
        if trial.procedure == SLEEVE:
            results = fail_trial(results, k, "no cycles")
    results = replace(results, **pool_topics(results.trials, results.options))
    assert pair_sentences(results)[-1] == f"{SLEEVE}: none of 4 recordings could be analysed."
    assert table_of_pairs(results)["rows"][1][3:5] == ["0", "0 / 4"]


def test_one_wearable_and_reference_need_no_line(larger):
    assert pair_sentences(larger) == ()
    assert all(block["kind"] != "table" for block in report_content(larger, {})["first"])


def test_pairs_beyond_the_room_are_counted(one_failed):
    """Each wearable's accuracy against the answer's reference stands before other references."""
    names = [under_test(w, "kalman", r) for w in "abc" for r in ("gonio", "optical", "third")]
    trials = tuple(replace(one_failed.trials[0], procedure=name) for name in names)
    results = replace(one_failed, trials=trials, limits=(), curves=(), equivalence=())
    said = pair_sentences(results)
    assert [line.split(":")[0] for line in said[1:4]] == names[::3]
    assert len(said) == 1 + MOST_PAIRS + 1
    assert said[-1] == "3 further pairs of instruments: tables/limits_of_agreement.csv."


def test_the_subtitle_names_each_instrument_once(one_failed):
    said = report_content(one_failed, {})["subtitle"]
    assert "from inertial sensors (strap and sleeve; kalman), held against gonio, worn" in said


def test_two_people_are_not_ranked_anywhere(study):
    """Two people have no interval: nothing is told apart, and no word says that they are equal."""
    (contest,) = [value for _, value in given(study.ranking)]
    assert contest.n_participants == 2
    (said,) = [each for each in answer_sentences(study) if "RMS of the demeaned diff" in each]
    assert "are not ranked: with 2 participants nothing can be told apart (at least 3" in said
    assert contest.summary().endswith("nothing can be told apart in so few)")
    section = next(s for s in report_content(study, {})["sections"] if "compared" in s["title"])
    (table,) = [block for block in section["blocks"] if block["kind"] == "table"]
    assert [row[-1] for row in table["rows"]] == ["too few people"]
    assert ties_sentence(contest) in str(section["blocks"])
    (drawn,) = draw_contests(study)
    (paper,) = [each for each in paper_tables(study) if each.name == "procedures"]
    told = [said, contest.summary(), table["caption"], drawn.caption, str(paper.rows)]
    assert not re.search(r"\bties?\b|\btied\b|\brank \d|\b1\. ", " ".join(told))


def test_a_tie_says_how_far_apart_the_tied_may_still_be(larger):
    """The farthest end of the interval of two that tie, whatever its sign."""
    (contest,) = [value for _, value in given(larger.ranking)]
    (pair,) = contest.differences
    assert pair.tied
    farthest = np.abs([pair.lower, pair.upper]).max()
    said = f"in 4 participants tied ones may still differ by up to {farthest:.2f}°."
    assert said in answer_sentences(larger)[-1]
    section = next(s for s in report_content(larger, {})["sections"] if "compared" in s["title"])
    assert said in str(section["blocks"])


def test_an_rms_of_a_clock_fitted_to_the_same_angles_is_said_to_be_a_lower_value(larger):
    assert any(LOWER_VALUE in each for each in answer_sentences(larger))
    trials = [
        replace(trial, synchronisation=replace(trial.synchronisation, method="trigger"))
        for trial in larger.trials
    ]
    by_trigger = replace(larger, trials=tuple(trials))
    assert LOWER_VALUE not in " ".join(answer_sentences(by_trigger))


def test_how_much_lower_is_what_was_measured():
    """Shares left of the RMS at the true lag, over the rows with a bump of that page's table."""
    page = SYNCHRONISATION.read_text(encoding="utf-8")
    rows = re.findall(r"^\| (−?\d°.*?) \|.*\| (\d+) % \|$", page, flags=re.MULTILINE)
    taken = {name: 100 - int(left) for name, left in rows}
    both = [name for name in taken if "range" in name]
    alone = [taken[name] for name in taken if name not in both]
    assert f"took {min(alone)} to {max(alone)} % off it" in LOWER_VALUE
    assert len(both) == 1
    assert taken[both[0]] == pytest.approx(50, abs=5)
    assert "half where the range differed too" in LOWER_VALUE
