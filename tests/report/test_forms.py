import pytest

from twinangle.report.content import report_content, supplement_content


def sections_of(results):
    """The sections of report and supplement."""
    return [
        section
        for content in (report_content, supplement_content)
        for section in content(results, {})["sections"]
    ]


def section(results, title):
    found = [s for s in sections_of(results) if s["title"] == title]
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
    return section(larger, "Limits of agreement in full")


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
    assert "an angle has no true zero" in words(limits)
    assert "no participant has several sessions" in words(limits)


def test_percentile_limits_of_few_people_are_open_at_one_end(limits):
    rows = [row for row in table_with(limits, "Form")["rows"] if row[3] == "percentiles"]
    assert "(to" in plain(rows[0][5])
    assert "(from" in plain(rows[0][6])


def test_lines_on_the_size_are_not_printed_of_few_people(limits):
    assert not any("Size" in b["head"] for b in limits if b["kind"] == "table")
    assert not any("Slope" in b["head"] for b in limits if b["kind"] == "table")
    assert "not printed below 10 participants" in words(limits)


def test_limits_at_three_sizes_have_their_intervals(build_results):
    people = [f"P{k:02d}" for k in range(10)]
    results = build_results(
        participants=people, procedures=("a",), conditions=("indoor",), n=9, minutes=0.2
    )
    limits = section(results, "Limits of agreement in full")
    assert len(table_with(limits, "SD about it", "Intercept")["rows"]) == len(results.forms)
    table = table_with(limits, "Size", "Bias")
    assert len(table["rows"]) == 3 * len(results.forms)
    one = results.forms[0].value.at_sizes[0]
    assert plain(table["rows"][0][-1]).startswith(f"{one.upper:.2f} (")


def test_one_participant_has_no_further_forms_and_it_says_so(build_results):
    results = build_results(participants=("P01",), procedures=("kalman",), n=12)
    assert "Further forms of the limits are not given" in words(
        section(results, "Limits of agreement in full")
    )
    table = table_with(section(results, "Participants at a glance"), "Range difference")
    assert "to" not in plain(table["rows"][0][4])  # no interval over one person
