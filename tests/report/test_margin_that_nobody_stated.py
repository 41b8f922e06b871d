"""Without a margin in the study file nothing is tested against one, and everything says so."""

import json
from dataclasses import replace

import pytest

from twinangle.analysis.topics import pool_topics
from twinangle.closing import print_closing
from twinangle.init.folder import AGREEMENT
from twinangle.options import Options
from twinangle.plotting.along_cycle import draw_along_cycle
from twinangle.plotting.limits import draw_limits
from twinangle.report.content import report_content
from twinangle.report.methods import methods_text
from twinangle.results import given
from twinangle.results.serialise import to_text
from twinangle.simulate.demo_texts import STUDY
from twinangle.study.settings import AgreementSettings


@pytest.fixture(scope="module")
def unstated(larger):
    options = replace(larger.options, margin_deg=None)
    return replace(
        larger, options=options, equivalence=pool_topics(larger.trials, options)["equivalence"]
    )


def words(value):
    if isinstance(value, dict):
        return " ".join(map(words, value.values()))
    return " ".join(map(words, value)) if isinstance(value, list | tuple) else str(value)


def test_the_settings_have_no_margin_of_their_own():
    assert AgreementSettings().acceptable_deg is None


def test_nothing_is_tested(unstated):
    assert given(unstated.equivalence) == []
    assert unstated.acceptable_deg is None
    record = json.loads(to_text(unstated))
    assert record["options"]["margin_deg"] is None
    assert all("no margin" in item["reason"] for item in record["equivalence"])


def test_report_and_methods_text_say_that_none_was_stated(unstated, larger):
    said = words(report_content(unstated, {}))
    assert "No margin was stated, so that nothing is tested against one" in said
    assert "No margin was stated, so they are tested against none" in said
    assert "No margin was stated beforehand" in methods_text(unstated)
    for text in (said, methods_text(unstated)):
        for claim in ("set beforehand", "Inside ±", "Tested against", "the margin of", "±5"):
            assert claim not in text
    assert "±5.0° was set beforehand" in methods_text(larger)
    exact = replace(larger, options=replace(larger.options, margin_deg=2.25))
    assert "±2.25°" in words(report_content(exact, {}))


def test_no_figure_draws_one(unstated, larger):
    for draw in (draw_limits, draw_along_cycle):
        captions = [words(drawn.caption) for drawn in draw(unstated)]
        assert captions
        assert not any("±" in caption for caption in captions)
        assert all("±5.0°" in drawn.caption for drawn in draw(larger))


def test_the_terminal_says_it(unstated, larger, tmp_path, capsys):
    print_closing(unstated, tmp_path)
    assert "No margin was stated, so that nothing" in capsys.readouterr().out
    print_closing(larger, tmp_path)
    assert "No margin" not in capsys.readouterr().out


def test_a_proposed_study_states_none():
    lines = [line for line in AGREEMENT.splitlines() if "acceptable_deg" in line]
    assert lines
    assert all(line.startswith("#") for line in lines)


def test_invented_data_say_so(larger):
    assert "invented = true" in STUDY
    assert "The data are invented" in methods_text(replace(larger, invented=True))
    assert "invented" not in methods_text(larger)


@pytest.mark.parametrize(
    ("field", "value"),
    [("confidence", 1.0), ("confidence", 95), ("margin_deg", 0.0), ("error_ratio", -1.0)],
)
def test_options_refuse_what_means_nothing(larger, field, value):
    with pytest.raises(ValueError, match=f"`{field}` must"):
        replace(larger.options, **{field: value})


def test_no_option_has_a_default():
    with pytest.raises(TypeError, match="missing 7 required"):
        Options()
