"""What the report shows of several instruments, and what of it waits in the supplement."""

from dataclasses import replace

import pytest

from twinangle.report.instruments import further_instruments_section, instruments_section
from twinangle.report.participants import further_participants_section, participants_section
from twinangle.report.provenance import settings_section
from twinangle.report.ranking import further_ranking_section, ranking_section
from twinangle.results.instruments import ErrorsOfThree, LimitsBetween
from twinangle.results.pooled import Absent
from twinangle.under_test import under_test
from twinangle.wording import file_name

NAMES = ("kalman", "vqf")
PAIR = ("strapA", "strapB")


@pytest.fixture(scope="module")
def results(study):
    """Two wearables and two references, two procedures, two conditions."""
    limits = study.limits[0].value.limits
    between = [
        LimitsBetween("wearables", *PAIR, procedure, condition, "mean_deg", limits)
        for procedure in NAMES
        for condition in ("indoor", "outdoor")
    ]
    between.append(
        LimitsBetween("references", "gonio", "optical", "", "indoor", "mean_deg", limits)
    )
    three = [
        ErrorsOfThree(w, procedure, "gonio", "optical", "indoor", "mean_deg", Absent(f"{w}."))
        for w in PAIR
        for procedure in NAMES
    ]
    trials = [
        replace(trial, procedure=under_test(wearable, trial.procedure, reference))
        for trial in study.trials
        for wearable in PAIR
        for reference in ("gonio", "optical")
    ]
    ranking = [
        replace(
            one,
            procedure=under_test("", "", reference),
            value=replace(
                one.value,
                standings=tuple(
                    replace(p, procedure=under_test("strapA", p.procedure, reference))
                    for p in one.value.standings
                ),
            ),
        )
        for one in study.ranking
        for reference in ("gonio", "optical")
    ]
    named = [
        replace(one, procedure=under_test("strapA", one.procedure, "gonio")) for one in study.limits
    ]
    parts = {name: {"kind": "inertial", "units": {"gyroscope": "rad/s"}} for name in PAIR}
    return replace(
        study, between=tuple(between), errors_of_three=tuple(three), trials=tuple(trials),
        ranking=tuple(ranking), limits=tuple(named), parameters={"wearables": parts},
    )  # fmt: skip


def figures(*names):
    return dict.fromkeys(names, ("caption", "words"))


def kinds(blocks):
    return [block["kind"] for block in blocks]


def test_the_report_has_the_main_procedure_and_a_figure_each_two(results):
    names = [
        file_name("between", *PAIR, procedure, condition)
        for procedure in NAMES
        for condition in ("indoor", "outdoor")
    ]
    drawn = figures(*names, file_name("between", "gonio", "optical", "indoor"))
    main, further = (
        section(results, drawn) for section in (instruments_section, further_instruments_section)
    )
    tables = [block for block in main if block["kind"] == "table"]
    pairs = ["strapA − strapB, kalman"] * 2 + ["gonio − optical"]
    assert [[row[1] for row in table["rows"]] for table in tables] == [pairs]
    assert kinds(main).count("figure") == 1  # of two references the table tells as much
    assert kinds(further).count("figure") == 4
    (table,) = [block for block in further if block["kind"] == "table"]
    assert [row[1] for row in table["rows"]] == ["strapA − strapB, vqf"] * 2
    shown = [str(blocks) for blocks in (main, further)]
    for name in drawn:
        assert sum(name in text for text in shown) == 1
    assert "Other procedures and conditions are in the supplement." in str(main[-1])


def test_with_one_procedure_and_condition_nothing_waits(results):
    one = replace(
        results,
        between=results.between[:1] + results.between[-1:],
        errors_of_three=tuple(t for t in results.errors_of_three if t.procedure == "kalman"),
    )
    assert further_instruments_section(one, {}) == []
    assert "supplement" not in str(instruments_section(one, {}))


def test_of_other_references_the_ranks_stand_in_the_report_and_pairs_do_not(results):
    drawn = figures("contest_indoor_gonio", "contest_indoor_optical")
    main, further = (
        section(results, drawn) for section in (ranking_section, further_ranking_section)
    )
    assert (kinds(main).count("figure"), kinds(further).count("figure")) == (0, 2)
    heads = [block["head"][0] for block in main if block["kind"] == "table"]
    assert heads == ["Condition"]  # all ranks in one table
    (ranks,) = [block["rows"] for block in main if block["kind"] == "table"]
    assert [row[1] for row in ranks] == ["gonio", "gonio", "optical", "optical"]
    assert [block["head"][0] for block in further if block["kind"] == "table"] == ["Pair"] * 2


def test_sections_that_say_the_same_share_a_row(results):
    (table,) = [block for block in settings_section(results) if block["kind"] == "table"]
    assert [row[0] for row in table["rows"]] == ["wearables.strapA", "wearables.strapA.units"]
    assert table["rows"][0][1] == "`kind` inertial. The same: wearables.strapB"


def test_numbers_over_people_are_against_the_answers_reference(results):
    curves = tuple(
        replace(one, procedure=under_test(wearable, one.procedure, reference))
        for one in results.curves
        for wearable in PAIR
        for reference in ("gonio", "optical")
    )
    both = replace(results, curves=curves, variability=())
    for blocks, waits in (
        (participants_section(both, {}), "; against optical: in the supplement."),
        (further_participants_section(both)[1:], "."),
    ):
        (table,) = blocks
        against = "gonio" if "supplement" in waits else "optical"
        assert table["caption"].endswith(f"Against {against} under “indoor”{waits}")
        assert table["head"][:2] == ["Procedure", "People"]
        assert [row[0] for row in table["rows"]] == [
            f"{wearable} · {name}" for name in NAMES for wearable in PAIR
        ]
