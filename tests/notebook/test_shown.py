"""What ends a notebook's cell is a few lines, and the same in text and HTML."""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import re
import xml.etree.ElementTree as ET
from dataclasses import is_dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import twinangle
import twinangle.agreement
from twinangle.agreement import compare_curves, curve_band, limits_of_agreement
from twinangle.card import MOST_LINES, WIDTH, Card, Several, Shown
from twinangle.results import StudyResults
from twinangle.signals.recording import Recording
from twinangle.study import AngleTrial, Study

_place = Path(__file__).parents[1] / "report" / "conftest.py"
_spec = importlib.util.spec_from_file_location("invented_results", _place)
_invented = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_invented)

PACKAGES = ("twinangle", "twinangle.agreement", "twinangle.results", "twinangle.study",
            "twinangle.formats", "twinangle.clocks", "twinangle.cycles", "twinangle.plotting",
            "twinangle.signals", "twinangle.simulate", "twinangle.wearable")  # fmt: skip


@pytest.fixture(scope="module")
def results() -> StudyResults:
    return _invented.build(participants=("P01", "P02", "P03", "P04"), n=14)


def shown_of(results):
    """Everything that shows itself in a study's results, and results of the statistics alone."""
    rng = np.random.default_rng(1)
    curves = rng.normal(0, 1, (8, 101)).cumsum(axis=1)
    yield from (results, results.frames, results.trials, results.limits)
    trial = results.trials[0]
    yield from (trial, trial.cycles, trial.paired, trial.synchronisation, trial.agreement)
    yield from (trial.variability, trial.over_time, trial.budget, trial.clock, *trial.sensors)
    for topic in ("limits", "forms", "curves", "variability", "conditions", "ranking", "budget",
                  "reliability", "equivalence", "along_cycle"):  # fmt: skip
        pooled = getattr(results, topic)[0]
        yield from (pooled, pooled.value)
    yield from (limits_of_agreement(rng.normal(size=9)), compare_curves(curves, curves + 1))
    yield curve_band(curves)
    yield Recording(np.arange(5.0), np.full((5, 1), np.nan), ("knee",), ("deg",), "x.csv")


class Balanced(HTMLParser):
    """Fails on a tag that is closed in the wrong place."""

    def __init__(self):
        super().__init__()
        self.open, self.seen = [], []

    def handle_starttag(self, tag, attrs):
        self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.seen.append(data)


def test_every_value_shows_itself_in_a_few_lines_and_in_whole_html(results):
    for value in shown_of(results):
        if value is None:
            continue
        lines = repr(value).splitlines()
        assert 1 <= len(lines) <= MOST_LINES, type(value)
        assert all(len(line) <= 2 * WIDTH for line in lines), type(value)
        assert len(repr(value)) < 800
        html = value._repr_html_()
        assert len(html) < 30_000, type(value)
        reader = Balanced()
        reader.feed(html)
        assert not reader.open, type(value)
        for sentence in value._card().sentences:
            assert sentence in "".join(reader.seen)


class Read(HTMLParser):
    """The title, sentences, cells and notes of a value's HTML, in order."""

    def __init__(self, html):
        super().__init__()
        self.found, self.inside = {"p": [], "th": [], "td": [], "li": [], "summary": []}, ""
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        if tag in self.found:
            self.inside = tag
            self.found[tag].append("")

    def handle_endtag(self, tag):
        self.inside = "" if tag == self.inside else self.inside

    def handle_data(self, data):
        if self.inside:
            self.found[self.inside][-1] += data


def test_text_and_html_have_the_same_labels_numbers_and_notes(results):
    kinds = set()
    for value in shown_of(results):
        if value is None:
            continue
        kinds.add(type(value).__name__)
        card, found = value._card(), Read(value._repr_html_()).found
        more = [f"… and {len(card.rows) - 12} more"] if len(card.rows) > 12 else []
        cells = [cell for row in card.rows[:12] for cell in row]
        head = list(card.head) if any(card.head) and card.rows else []
        assert found["p"] == [card.title, *card.sentences]
        assert found["th"] == head
        assert found["td"] == [*cells, *more]
        assert found["li"] == list(card.behind)
        words = " ".join(str(value).split())
        told = [*found["p"], *head, *cells, *more, *found["summary"], *found["li"]]
        place = 0
        for text in (" ".join(each.split()) for each in told if each):
            place = words.index(text, place)  # in the same order
        assert set(re.findall(r"\d+\.\d+", words)) == set(re.findall(r"\d+\.\d+", " ".join(told)))
    assert {"StudyResults", "TrialResult", "StudyLimits", "LimitsOfAgreement", "Contest"} <= kinds


def test_the_page_of_a_study_holds_the_answer_and_a_picture(results):
    html = results._repr_html_()
    for sentence in _invented_answer(results):
        assert sentence in html.replace("&#x27;", "'").replace("&lt;", "<")
    picture = ET.fromstring(html[html.index("<svg") : html.index("</svg>") + 6])
    assert picture.attrib["role"] == "img"
    circles = [each for each in picture if each.tag.endswith("circle")]
    assert len(circles) == 3  # mean, peak and range of the main procedure
    limits = {one.quantity: one.value.limits for one in results.limits[:3]}
    places = [float(each.attrib["cx"]) for each in circles]
    order = np.argsort([limits[name].bias for name in limits])
    assert list(np.argsort(places)) == list(order)


def _invented_answer(results):
    from twinangle.results.answer_words import answer_sentences

    return answer_sentences(results)


def test_text_of_others_is_escaped(results):
    odd = replace(results, title="<script>alert(1)</script>", notes=("<b>",))
    assert "<script>" not in odd._repr_html_()
    assert "&lt;script&gt;" in odd._repr_html_()


def test_every_result_of_the_statistics_keeps_the_short_repr():
    found = [
        each
        for name in twinangle.agreement.__all__
        if inspect.isclass(each := getattr(twinangle.agreement, name)) and is_dataclass(each)
    ]
    assert len(found) > 25
    for each in found:
        assert issubclass(each, Shown), each
        assert each.__repr__ is Shown.__repr__, each


def test_a_long_text_is_cut_and_a_short_one_is_not():
    card = Card("Title", ("word " * 400,))
    assert len(card.text().splitlines()) == MOST_LINES
    assert card.text().endswith("…")
    assert Card("Title", ("one.",)).text() == "Title\n  one."
    assert repr(Several(())) == "0 × results"
    assert repr(Several(range(9))).endswith("… and 5 more")


@pytest.mark.parametrize("name", PACKAGES)
def test_completion_shows_what_users_need_and_no_more(name):
    package = importlib.import_module(name)
    assert dir(package) == sorted(package.__all__)
    for each in package.__all__:
        assert hasattr(package, each)
        assert each == "__version__" or not each.startswith("_")


def test_completion_on_values_shows_no_helpers(results):
    for value in (results, results.trials[0], results.limits[0], results.frames):
        names = [name for name in dir(value) if not name.startswith("_")]
        for name in names:
            of_class = inspect.getattr_static(type(value), name)
            field = name in getattr(type(value), "__dataclass_fields__", {})
            assert field or inspect.getdoc(of_class), name


def test_a_study_shows_its_recordings_by_condition():
    time = np.arange(0, 20, 0.01)
    knee = 30 - 30 * np.cos(2 * np.pi * time / 1.1)
    trials = [
        AngleTrial("P01", time, knee, reference_deg=knee, condition="indoor"),
        AngleTrial("P01", time, knee, condition="outdoor"),
    ]
    study = Study.from_angles(trials, title="Mine", acceptable_deg=4)
    assert repr(study).splitlines()[0] == "Study “Mine” (knee): 2 recordings of 1 participant"
    assert "1 indoor (1 with a reference) and 1 outdoor" in repr(study)
    assert "margin ±4.0°" in " ".join(repr(study).split())
