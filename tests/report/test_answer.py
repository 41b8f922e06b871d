"""The answer on the first page: its sentences hold the numbers of the results, and no others."""

from __future__ import annotations

from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.report.content import report_content
from twinangle.results import Absent, named
from twinangle.results.answer import answer_of
from twinangle.results.answer_words import answer_sentences, rests_on
from twinangle.results.comparison_words import NOT_MEASURED
from twinangle.wording import SD_FREED


@pytest.fixture(scope="module")
def both(build_results):
    """Four people, a reference indoors only, two procedures."""
    return build_results(participants=("P01", "P02", "P03", "P04"), n=12, minutes=0.1)


@pytest.mark.parametrize(("failed", "told"), [(2, False), (3, True), (4, True)])
def test_more_than_a_quarter_of_failures_stands_in_the_answer(both, fail_trial, failed, told):
    """Of 8 recordings 2 are a quarter; of the second procedure alone none counts."""
    results = both
    for index in range(2 * failed):  # two procedures a recording
        results = fail_trial(results, index, "no cycles")
    first = answer_sentences(results)[0]
    assert (f"{failed} of 8 recordings" in first) == told
    assert (f"({100 * failed / 8:.0f} %) could not be analysed" in first) == told


def test_recordings_that_fail_under_the_main_procedure_alone_count_too(both, fail_trial):
    results = both
    for index in range(0, 8, 2):
        assert both.trials[index].procedure == both.trials[0].procedure
        results = fail_trial(results, index, "no cycles")
    main = answer_of(results).procedure
    assert f"4 of 8 recordings (50 %) could not be analysed by {main}" in " ".join(
        answer_sentences(results)
    )


def test_excluded_recordings_are_no_failures(both, fail_trial):
    results = both
    for index in range(8):
        results = fail_trial(results, index, "wrong shoe", status="excluded")
    assert "could not be analysed" not in " ".join(answer_sentences(results))


def test_conditions_that_share_nobody_say_so_and_print_no_dash(both):
    """“indoors” beside “indoor” once made a study of two halves and "is – times"."""
    trials = [
        replace(trial, condition="indoors")
        if trial.condition == "indoor" and trial.participant in ("P03", "P04")
        else trial
        for trial in both.trials
        if trial.condition == "indoor"
    ]
    options = replace(both.options, against="indoor")
    split = replace(both, trials=tuple(trials), options=options)
    split = replace(split, **pool_topics(split.trials, options))
    said = " ".join((*answer_sentences(split), rests_on(split)))
    assert "– times" not in said
    assert "cannot be held against that under “indoor” (no participant was measured under" in said
    for text in said.replace(",", " ").split("–")[1:]:
        raise AssertionError(text)


@pytest.mark.parametrize(
    ("bias", "zeroed", "share"),
    [(3.0, 1.0, True), (-3.0, -1.0, True), (1.0, -2.0, False), (1.0, 4.0, False), (0.5, 0.5, True)],
)
def test_a_part_is_never_larger_than_the_whole(both, bias, zeroed, share):
    """An offset of 1.00° once had “3.00° of it” laid to the zeros, −2.00° being the rest."""
    pooled = both.limits[0]
    limits = replace(pooled.value.limits, bias=bias)
    value = replace(pooled.value, limits=limits, zeroed=replace(limits, bias=zeroed))
    results = replace(both, limits=(replace(pooled, value=value), *both.limits[1:]))
    said = next(text for text in answer_sentences(results) if "zeros differ" in text)
    assert degrees(bias) in said
    assert degrees(bias - zeroed) in said
    assert ("two parts of opposite sign" not in said) == share
    assert said.startswith(f"Of the offset of {degrees(bias)}") == share
    if not share:
        assert f"{degrees(zeroed)} is what is left" in said


def test_a_rest_that_is_next_to_nothing_is_no_part_of_its_own(both):
    pooled = both.limits[0]
    limits = replace(pooled.value.limits, bias=-3.17)
    value = replace(pooled.value, limits=limits, zeroed=replace(limits, bias=0.01))
    results = replace(both, limits=(replace(pooled, value=value), *both.limits[1:]))
    said = next(text for text in answer_sentences(results) if "zeros differ" in text)
    assert said.startswith("Nearly all of the offset of −3.17° is how the instruments' zeros")
    assert "(−3.18°; left over 0.01°)" in said


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


def test_a_single_recordings_sds_stand_as_in_its_table_too(build_results):
    """0.64 in the table of recordings, 0.65 in the answer, were two estimates of one recording."""
    results = build_results(participants=("P01",), n=8, minutes=0.1)
    (said,) = [text for text in answer_sentences(results) if "the SD over cycles, freed" in text]
    (trial,) = [t for t in results.trials if (t.procedure, t.condition) == ("kalman", "indoor")]
    spread = dict(named(results.variability))["kalman", "indoor", ""]
    assert spread.test_sd != pytest.approx(trial.wearable_variability.sd, abs=1e-4)
    assert SD_FREED in said
    assert f"is {degrees(spread.test_sd)} of the wearable" in said
    own = [degrees(one.sd) for one in (trial.wearable_variability, trial.reference_variability)]
    assert f"(as they stand in the table of recordings {own[0]} and {own[1]})" in said


def test_of_several_recordings_none_stands_for_all(both):
    said = answer_sentences(both)[1]
    assert SD_FREED in said
    assert "as they stand" not in said


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
    assert f"{names[0]} is nearer the reference than {names[1]}" in answer_sentences(apart)[-1]


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
