"""The text of `results.json`: the standard library's, but for lists of numbers; put together."""

import json

import pytest

from twinangle.results.serialise import _text, joined

VALUE = {
    "text": 'quoted "°" \u2028',
    "empty": [{}, [], ""],
    "numbers": {"one": 1.5e-7, "large": 1e22, "whole": 10**20, "negative": -0.0, "zero": 0},
    "none": None,
    "several": [{"yes": True}, "no"],
}


def test_members_stand_as_the_standard_library_writes_them():
    assert _text(VALUE, "\n") == json.dumps(VALUE, indent=1, ensure_ascii=False)


def test_numbers_stand_on_one_line_and_nan_is_refused():
    assert _text({"curve": [1.0, None, "inf", 2]}, "\n") == '{\n "curve": [1.0, null, "inf", 2]\n}'
    for bad in (float("nan"), [1.0, float("nan")]):
        with pytest.raises(ValueError, match="JSON compliant"):
            _text({"bad": bad}, "\n")


@pytest.mark.parametrize("n", [0, 1, 3])
def test_trials_come_into_their_place(n):
    trials = [{"trial": k, **VALUE} for k in range(n)]
    others = _text({"schema": 2, "trials": [], "notes": ['"trials": []']}, "\n")
    whole = {"schema": 2, "trials": trials, "notes": ['"trials": []']}
    found = joined((_text(each, "\n  ") for each in trials), others)
    assert found == json.dumps(whole, indent=1, ensure_ascii=False) + "\n"
