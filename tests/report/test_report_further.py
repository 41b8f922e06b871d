from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.report.content import report_content
from twinangle.report.methods_text import methods_text


def section(results, title):
    found = [s for s in report_content(results, {})["sections"] if s["title"] == title]
    return found[0]["blocks"] if found else []


def table_with(blocks, *columns):
    return next(b for b in blocks if b["kind"] == "table" and all(c in b["head"] for c in columns))


def words(blocks):
    return " ".join(
        item
        for block in blocks
        for item in (block.get("items") or [block.get("body", block.get("caption", ""))])
    )


def plain(cell):
    return cell.replace("\u00a0", " ").replace("−", "-")


@pytest.fixture(scope="module")
def limits(larger):
    return section(larger, "Limits of agreement")


def test_summary_gives_mean_curves_over_participants_with_intervals(larger):
    table = table_with(section(larger, "Summary"), "RMS demeaned", "Range difference")
    curves = larger.curves[0].value
    low, high = curves.rms_demeaned_ci
    assert plain(table["rows"][0][4]) == f"{curves.rms_demeaned:.2f} ({low:.2f} to {high:.2f})"


def test_every_recording_has_its_further_numbers_with_intervals(larger):
    table = table_with(section(larger, "Every trial"), "SD added")
    assert len(table["rows"]) == sum(t.agreement is not None for t in larger.trials)
    ranges = [row[table["head"].index("Range")] for row in table["rows"]]
    assert all("to" in cell for cell in ranges)


def test_checks_and_their_suggestion_stand_before_the_other_forms(limits, larger):
    table = table_with(limits, "Bias on size")
    assert len(table["rows"]) == len(larger.forms)
    where = [b["body"] for b in limits if b["kind"] == "heading"]
    looked = where.index("What the limits take for granted, looked at")
    assert looked < where.index("Limits in other forms")
    assert all(item.value.checks.suggestion in words(limits) for item in larger.forms)


def test_other_forms_are_given_or_their_absence_is_explained(limits, larger):
    forms = [row[3] for row in table_with(limits, "Form")["rows"]]
    assert forms.count("percentiles") == len(larger.forms)
    assert forms.count("ratio") == 2  # of the range, for both procedures
    assert len(table_with(limits, "SD about it", "Intercept")["rows"]) == len(larger.forms)
    assert "an angle has no true zero" in words(limits)
    assert "no participant has several sessions" in words(limits)


def test_percentile_limits_of_few_people_are_open_at_one_end(limits):
    rows = [row for row in table_with(limits, "Form")["rows"] if row[3] == "percentiles"]
    assert "(to" in plain(rows[0][5])
    assert "(from" in plain(rows[0][6])


def test_limits_at_three_sizes_have_their_intervals(limits, larger):
    table = table_with(limits, "Size", "Bias")
    assert len(table["rows"]) == 3 * len(larger.forms)
    one = larger.forms[0].value.at_sizes[0]
    low, high = one.upper_ci
    assert plain(table["rows"][0][-1]) == f"{one.upper:.2f} ({low:.2f} to {high:.2f})"
    assert "fewer than 10 participants" in table["caption"]


def test_without_a_stated_ratio_demings_line_says_what_it_needs(limits):
    assert "that both err: it needs error_ratio under [agreement]" in words(limits)
    assert not any("Deming's regression" in b.get("caption", "") for b in limits)


def test_demings_line_says_what_it_shows(larger):
    found = pool_topics(larger.trials, replace(larger.options, error_ratio=1.5))
    results = replace(larger, **found)
    first = found["forms"][0].value
    blocks = section(results, "Limits of agreement")
    table = table_with(blocks, "People", "Slope", "Intercept")
    line = first.deming
    low, high = line.slope_ci
    assert plain(table["rows"][0][4]) == f"{line.slope:.3f} ({low:.3f} to {high:.3f})"
    assert "1.5 times the reference's" in table["caption"]
    assert "that both err:" not in words(blocks)
    record = results.to_json()["forms"][0]
    assert record["deming"]["error_ratio"] == 1.5
    assert record["at_sizes"][2]["bias_deg"] == first.at_sizes[2].bias


@pytest.mark.parametrize(
    ("slope", "intercept", "expected"),
    [
        ((0.9, 1.1), (-1, 2), "neither a difference of scale nor a shift is shown"),
        ((1.1, 1.2), (-1, 2), "grow more than the reference's; a shift is not shown"),
        ((0.8, 0.9), (1, 2), "grow less than the reference's and a wearable that reads above"),
        ((0.9, 1.1), (-2, -1), "reads below the reference where that is 0; a difference of scale"),
    ],
)
def test_demings_line_is_read_by_its_intervals(larger, slope, intercept, expected):
    form = pool_topics(larger.trials, replace(larger.options, error_ratio=1.0))["forms"][0]
    line = replace(form.value.deming, slope_ci=slope, intercept_ci=intercept)
    forms = (replace(form, value=replace(form.value, deming=line)),)
    said = words(section(replace(larger, forms=forms), "Limits of agreement"))
    assert expected in said


def test_reliability_names_its_forms_and_says_why_sessions_are_absent(larger):
    blocks = section(larger, "Reliability")
    icc = table_with(blocks, "ICC(2,1)", "Lin's concordance")
    assert len(icc["rows"]) == 6  # two procedures, three quantities
    assert "two-way random effects, absolute agreement, single measurement" in words(blocks)
    assert "not agreement" in words(blocks)
    assert "Reliability over sessions is not given" in words(blocks)
    # A change is detected by one instrument measured again, which nobody was here.
    assert not any("Detectable change" in b["head"] for b in blocks if b["kind"] == "table")
    assert "Detectable change between the instruments is not given" in words(blocks)


def test_a_detectable_change_is_given_from_test_and_retest(larger):
    again = tuple(replace(trial, session="2") for trial in larger.trials)
    trials = larger.trials + again
    results = replace(larger, trials=trials, **pool_topics(trials, larger.options))
    change = table_with(section(results, "Reliability"), "Detectable change")
    assert {row[3] for row in change["rows"]} == {"wearable", "reference"}
    assert all("to" in row[-1] for row in change["rows"])
    assert "95 % confidence" in change["caption"]
    assert "Weir JP (2005)" in methods_text(results)


def test_undefined_multiple_correlations_are_counted(larger):
    table = table_with(section(larger, "Reliability"), "Undefined")
    undefined = {row[2]: row[5] for row in table["rows"]}
    assert undefined["wearable and reference, within each cycle"] == "4"
    assert undefined["wearable, between cycles"] == "0"


def test_two_people_are_too_few_to_hold_covariates_equal_and_it_says_so(study):
    said = words(section(study, "Conditions"))
    assert "stride_time_s" in said
    assert "at least 3 participants" in said


def test_conditions_at_equal_speed(build_results):
    built = build_results(participants=("P01", "P02", "P03"), procedures=("kalman",), n=12)
    speeds = (1.2, 1.4, 1.1, 1.0, 1.5, 1.3)
    trials = tuple(
        replace(trial, covariates={"speed_m_s": speed})
        for trial, speed in zip(built.trials, speeds, strict=True)
    )
    results = replace(built, trials=trials, **pool_topics(trials, built.options))
    table = table_with(section(results, "Conditions"), "Held equal")
    assert [row[2] for row in table["rows"]] == ["walking speed"]
    assert "mixed models" in methods_text(results)
    assert "ICC(2,1)" in methods_text(results)
    assert "detectable" not in methods_text(results)


def test_one_participant_has_no_further_forms_and_it_says_so(build_results):
    results = build_results(participants=("P01",), procedures=("kalman",), n=12)
    assert "Further forms of the limits are not given" in words(
        section(results, "Limits of agreement")
    )
    table = table_with(section(results, "Summary"), "Range difference")
    assert "to" not in plain(table["rows"][0][4])  # no interval over one person


def test_json_and_tables_carry_the_further_parts(written, larger):
    record = larger.to_json()
    for key in ("curves", "forms", "reliability"):
        assert record[key], key
    names = ("curves_over_participants", "limits_in_other_forms", "reliability", "not_given")
    for name in (*names, "conditions_adjusted"):
        assert (written / "tables" / f"{name}.csv").stat().st_size > 20
