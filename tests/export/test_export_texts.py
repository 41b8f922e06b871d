"""Plain files of a data set: whatever is written reads back to the same, with other readers too."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from twinangle.errors import StudyError
from twinangle.export.dataset import below_folder
from twinangle.export.labels import label, names_of
from twinangle.export.plain_files import toml_text, write_csv, write_samples, write_tsv
from twinangle.study import Trial

NUMBERS = st.floats(allow_infinity=False)
KEYS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), min_size=1, max_size=8)
PLAIN = st.one_of(
    st.booleans(),
    st.integers(-(2**40), 2**40),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=12),
)
VALUES = st.one_of(PLAIN, st.lists(st.text("abc ,\"'", max_size=4), max_size=3))
SECTIONS = st.dictionaries(
    KEYS, st.one_of(VALUES, st.dictionaries(KEYS, VALUES, max_size=3)), max_size=4
)


@given(rows=st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=20))
@settings(max_examples=100)
def test_samples_read_back_to_the_last_bit_with_another_reader(tmp_path_factory, rows):
    values = np.array(rows)
    path = tmp_path_factory.mktemp("samples") / "x.tsv"

    write_samples(path, values, np.arange(len(rows)) / 3)

    cells = [line.split("\t") for line in path.read_text().splitlines()]
    found = np.array([[np.nan if c == "n/a" else float(c) for c in row] for row in cells])
    assert_array_equal(found[:, :3], values)
    assert_array_equal(found[:, 3], (np.arange(len(rows)) / 3).round(6))


@given(content=st.dictionaries(st.sampled_from(["study", "wearable"]), SECTIONS, max_size=2))
@settings(max_examples=200)
def test_settings_read_back_with_the_standard_librarys_reader(content):
    found = tomllib.loads(toml_text(content))

    assert {name: found.get(name, {}) for name in content} == content


def test_a_cell_that_a_table_cannot_hold_is_refused(tmp_path):
    with pytest.raises(StudyError, match="holds a tab or a line end"):
        write_tsv(tmp_path / "x.tsv", ("a",), [("two\tcells",)])
    write_csv(tmp_path / "x.csv", ("a", "b"), [('quo"te, comma\nline', None), (0.1 + 0.2, 3)])
    assert pd.read_csv(tmp_path / "x.csv", dtype=str).to_numpy().tolist() == [
        ['quo"te, comma\nline', np.nan],
        ["0.30000000000000004", "3"],
    ]


def trial(participant="P01", session="1", condition="indoor", number="1", side="left") -> Trial:
    return Trial(
        participant, session, condition, number, side, Path("w"), None, None, None, None, None, "",
        {}, 2,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("P01", "P01"),
        ("grass path", "grassPath"),
        ("P-01_b", "P01B"),
        ("fünf Stühle", "funfStuhle"),
    ],
)
def test_labels_hold_ascii_letters_and_digits(text, expected):
    assert label(text) == expected


def test_identifiers_that_cannot_be_told_apart_are_refused():
    with pytest.raises(StudyError, match="'P-01' and 'P01' have the same letters"):
        names_of([trial("P-01"), trial("P01", condition="outdoor")])
    with pytest.raises(StudyError, match=r"grass path.*grass-path"):
        names_of([trial(condition="grass path"), trial(condition="grass-path")])
    with pytest.raises(StudyError, match="holds no letter or digit of ASCII"):
        names_of([trial("山田")])
    (name,) = names_of([trial(number="warm up")])
    assert name.file("wearable", "motion.tsv").endswith(
        "_tracksys-wearable_acq-leftWarmUp_motion.tsv"
    )


@given(
    st.lists(
        st.builds(
            trial,
            participant=st.sampled_from(["P1", "P-1", "P2"]),
            session=st.sampled_from(["1", "2", "a b"]),
            condition=st.sampled_from(["in", "out", "in door", "inDoor"]),
            number=st.sampled_from(["1", "2", "01", "slow"]),
            side=st.sampled_from(["", "left", "right"]),
        ),
        max_size=12,
        unique_by=lambda each: each.identity,
    )
)
def test_names_that_are_given_are_all_different(trials):
    try:
        names = names_of(trials)
    except StudyError:
        return
    files = [f"{name.folder}/{name.file('wearable', 'motion.tsv')}" for name in names]
    assert len(set(files)) == len(trials)


@pytest.mark.parametrize(
    ("folder", "text", "told"),
    [
        ("hall", "KniE.vp12_halle_re.imu.txt: walked in hall 2", None),
        ("hall", "hall/vp12_halle.txt: not there", "./vp12_halle.txt: not there"),
        ("hall", "old/hall/a.txt and halle/a.txt", None),
        ("/data/hall", "'/data/hall/a.txt' in /data/hall.", "'./a.txt' in .."),
        ("/data/hall", "/data/halle/a, /data/hall-2/a, /data/hall.old/a, /x/data/hall", None),
        (".", "./a.txt: 0.5 s", None),
    ],
)  # fmt: skip
def test_of_paths_whole_parts_alone_are_shortened(folder, text, told):
    assert below_folder(text, folder) == (text if told is None else told)
