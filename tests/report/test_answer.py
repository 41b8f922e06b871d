"""The answer on the first page: its sentences hold the numbers of the results, and no others."""

from __future__ import annotations

from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.report.answer import NOT_MEASURED, answer_sentences, rests_on
from twinangle.report.content import report_content
from twinangle.results import Absent, named
from twinangle.results.answer import answer_of


@pytest.fixture(scope="module")
def both(build_results):
    """Four people, a reference indoors only, two procedures."""
    return build_results(participants=("P01", "P02", "P03", "P04"), n=12, minutes=0.1)


def degrees(value):
    return f"{value:.2f}°".replace("-", "−")


def ends(interval):
    return f"{degrees(interval[0])} to {degrees(interval[1])}"


def at_margin(results, margin):
    options = replace(results.options, margin_deg=margin)
    return replace(results, options=options, **pool_topics(results.trials, options))


def test_counts_are_those_of_the_recordings(both):
    answer = answer_of(both)
    main = [t for t in both.trials if t.procedure == "kalman"]
    paired = [t for t in main if t.agreement is not None]
    assert (answer.n_participants, answer.n_recordings, answer.n_with_reference) == (4, 8, 4)
    assert answer.n_cycles == sum(int(t.cycles.kept.sum()) for t in main)
    assert answer.n_cycles_with_reference == sum(int(t.cycles.kept.sum()) for t in paired)
    assert answer.without_reference == ("outdoor",)
    said = rests_on(both)
    assert f"4 participants, 8 recordings and {answer.n_cycles} cycles" in said
    assert f"4 recordings and {answer.n_cycles_with_reference} cycles" in said
    assert both.to_json()["answer"]["n_cycles"] == answer.n_cycles


def test_bias_limits_and_their_intervals(both):
    first = answer_sentences(both)[0]
    limits = both.limits[0].value.limits
    for value, interval in (
        (limits.bias, limits.bias_ci),
        (limits.lower, limits.lower_ci),
        (limits.upper, limits.upper_ci),
    ):
        assert degrees(value) in first
        assert ends(interval) in first
    assert "“indoor”" in first
    assert "95 % interval" in first


@pytest.mark.parametrize("margin", [0.5, 5.0, 60.0])
def test_the_verdict_is_the_results(both, margin):
    results = at_margin(both, margin)
    claims = dict(named(results.equivalence))
    first = answer_sentences(results)[0]
    assert f"margin of ±{margin}° {claims['kalman', 'indoor', 'mean_deg'].verdict}" in first
    assert f"peak flexion: {claims['kalman', 'indoor', 'peak_flexion_deg'].verdict}" in first


def test_without_a_margin_nothing_is_claimed(both):
    said = " ".join(answer_sentences(at_margin(both, None)))
    for word in ("margin", "inside", "outside", "undecided"):
        assert word not in said


def test_rms_and_both_standard_deviations(both):
    second = answer_sentences(both)[1]
    curves, spread = both.curves[0].value, both.variability[0].value
    for value, interval in (
        (curves.rms_demeaned, curves.rms_demeaned_ci),
        (spread.test_sd, spread.test_sd_ci),
        (spread.reference_sd, spread.reference_sd_ci),
    ):
        assert f"{degrees(value)} ({ends(interval)})" in second


def test_outdoors_accuracy_was_not_measured_and_says_so(both):
    said = next(each for each in answer_sentences(both) if "“outdoor”" in each)
    (found,) = [v for k, v in named(both.conditions) if k[0] == "kalman" and "wearable" in k[2]]
    low, high = found.ratio_ci
    assert f"{found.ratio:.2f} ({low:.2f} to {high:.2f}) times that under “indoor”" in said
    assert NOT_MEASURED in said


def test_a_condition_with_a_reference_of_its_own_was_measured(build_results):
    results = build_results(
        participants=("P01", "P02"), reference=("indoor", "outdoor"), n=8, minutes=0.1
    )
    assert NOT_MEASURED not in " ".join(answer_sentences(results))
    assert "under “outdoor”, with a reference too" in rests_on(results)


def test_ties_are_called_ties_and_a_difference_has_its_interval(both):
    last = answer_sentences(both)[-1]
    contest = both.ranking[0].value
    (pair,) = contest.differences
    assert ("cannot be told apart: a tie" in last) == pair.tied
    assert f"{pair.difference:.3f}°".replace("-", "−").replace("−0.000", "0.000") in last
    names = [place.procedure for place in contest.standings]
    apart = replace(
        both,
        ranking=(
            replace(
                both.ranking[0],
                value=replace(
                    contest,
                    standings=tuple(
                        replace(place, rank=k + 1, tied_with=())
                        for k, place in enumerate(contest.standings)
                    ),
                ),
            ),
        ),
    )
    assert f"{names[0]} comes before {names[1]}" in answer_sentences(apart)[-1]


def test_what_part_is_zeroing_or_that_it_is_not_known(both):
    assert isinstance(both.limits[0].value.zeroed, Absent)
    assert any("is not known" in each for each in answer_sentences(both))


def test_no_reference_no_accuracy(build_results):
    results = build_results(participants=("P01", "P02"), reference=(), n=8, minutes=0.1)
    first, *rest = answer_sentences(results)
    assert "accuracy was not measured" in first
    assert "margin" not in rests_on(results)
    sds = [t.wearable_variability.sd for t in results.trials
           if (t.procedure, t.condition) == ("kalman", "indoor")]  # fmt: skip
    assert f"{min(sds):.2f} to {max(sds):.2f}° under “indoor”" in " ".join(rest)


def test_strides_of_one_participant_are_no_people(build_results):
    results = build_results(participants=("P01",), n=8, minutes=0.1)
    assert "strides of one participant: they say nothing about other people" in rests_on(results)


def test_invented_data_are_said_to_be_so_on_the_first_page(both):
    assert "invented" in report_content(replace(both, invented=True), {})["banner"]
    assert report_content(both, {})["banner"] == ""


def test_the_answer_is_short(both):
    assert 3 <= len(answer_sentences(both)) <= 5
