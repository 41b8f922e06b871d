"""A text file broken off within its last number is told of; whole files are not."""

import numpy as np
import pytest

from twinangle.formats import describe_file, read_recording
from twinangle.notices import gravity_of, kind_of


def rows(form, n=80):
    rng = np.random.default_rng(3)
    numbers = rng.normal(20, 9, n)
    return ["s,angle", *(f"{k / 100:.2f},{form(value)}" for k, value in enumerate(numbers))]


def fixed(value):
    return f"{value:.4f}"


def plain(value):
    return repr(round(float(value), 5))  # zeros at the end are dropped


def notes(path):
    found = read_recording(path, columns=("angle",), time="s", source=path.name)
    return [text for text in found.notes if kind_of(text) == "file-cut-off"]


@pytest.mark.parametrize("form", [fixed, plain])
@pytest.mark.parametrize("left", ["-50", "-5", "-50."])
def test_a_number_broken_off_is_told(tmp_path, form, left):
    path = tmp_path / "gon.csv"
    path.write_text("\n".join([*rows(form), f"0.80,{left}"]))
    (text,) = notes(path)
    assert text.startswith("gon.csv: the file seems to end within a number")
    assert repr(left) in text
    assert gravity_of(text) == "warning"
    assert "the file seems to end within a number" in str(describe_file(path))


@pytest.mark.parametrize("form", [fixed, plain])
@pytest.mark.parametrize("end", ["", "\n", "\r\n"])
def test_a_whole_file_is_not(tmp_path, form, end):
    path = tmp_path / "gon.csv"
    path.write_bytes(("\n".join(rows(form)) + end).encode())
    assert notes(path) == []


def test_a_round_number_behind_a_line_end_is_not(tmp_path):
    path = tmp_path / "gon.csv"
    path.write_text("\n".join([*rows(plain), "0.80,-50", ""]))
    assert notes(path) == []


def test_whole_numbers_tell_nothing(tmp_path):
    path = tmp_path / "gon.csv"
    path.write_text("\n".join([*rows(lambda value: f"{value:.0f}"), "0.80,4"]))
    assert notes(path) == []
