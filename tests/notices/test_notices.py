"""A notice is a string that keeps its kind and gravity wherever it goes."""

import copy
import json
import pickle

import pytest

from twinangle.notices import GRAVITIES, Notice, gravity_of, kind_of, reworded
from twinangle.results.equality import same_results
from twinangle.visible import visible_texts

TOLD = Notice("gyroscope bias 3.1 °/s.", "gyroscope-bias", "grave", 3.1)


def test_it_is_a_string():
    assert TOLD == "gyroscope bias 3.1 °/s."
    assert json.dumps([TOLD]) == json.dumps(["gyroscope bias 3.1 °/s."])
    assert dict.fromkeys([TOLD, str(TOLD)]) == {"gyroscope bias 3.1 °/s.": None}


@pytest.mark.parametrize(
    "through", [copy.copy, copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))]
)
def test_it_goes_to_another_process(through):
    new = through(TOLD)
    assert (new, new.kind, new.gravity, new.size) == (TOLD, "gyroscope-bias", "grave", 3.1)


def test_a_plain_string_counts_as_a_warning_of_no_kind():
    assert (kind_of("so."), gravity_of("so.")) == ("other", "warning")
    assert type(reworded("so.", "sensor: so.")) is str


@pytest.mark.parametrize(
    ("kind", "gravity", "words"),
    [
        ("Clock drift", "note", "hyphens"),
        ("clock", "bad", "note or warning or grave"),
        ("", "note", "''"),
    ],
)
def test_what_is_no_kind_or_gravity_is_refused(kind, gravity, words):
    with pytest.raises(ValueError, match=words):
        Notice("so.", kind, gravity)


def test_gravities_rise():
    assert GRAVITIES == ("note", "warning", "grave")


def test_odd_characters_are_shown_and_the_kind_is_kept():
    (shown,) = visible_texts((Notice("a\x1bb", "clock-drift", "note"),))
    assert (shown, shown.kind, shown.gravity) == ("a\\x1bb", "clock-drift", "note")


def test_the_same_text_of_another_gravity_is_another_result():
    assert not same_results((TOLD,), (str(TOLD),))
    assert not same_results((TOLD,), (Notice(TOLD, TOLD.kind, "note"),))
