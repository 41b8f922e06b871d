"""One recording under two names, and pairs of unlike length, are told."""

from __future__ import annotations

import pytest

from twinangle.analysis.people_and_files import (
    Lasting,
    refuse_same_recordings,
    same_recordings,
    unlike_partners,
)
from twinangle.results import TrialResult
from twinangle.study import read_study

STUDY = """\
[study]
title = "x"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "t"
angle = "a"
[reference]
kind = "angle"
time = "t"
angle = "a"
"""
HEAD = "participant,condition,trial,start_s,end_s,wearable,reference,exclude"


@pytest.fixture
def told(tmp_path):
    for name, content in {"a": "1", "a2": "1", "b": "2", "c": "33", "r": "4", "r2": "5"}.items():
        (tmp_path / f"{name}.csv").write_text(f"t,a\n0,{content}\n")
    (tmp_path / "study.toml").write_text(STUDY)

    def read(*rows):
        (tmp_path / "trials.csv").write_text("\n".join([HEAD, *rows]) + "\n")
        return tuple(clash.text for clash in same_recordings(read_study(tmp_path)))

    return read


def test_one_recording_of_two_people(told):
    (text,) = told("P1,in,1,,,a.csv,r.csv,", "P2,in,1,,,a2.csv,r2.csv,")
    assert text.startswith("trials.csv, rows 2 and 3, column 'wearable': 'a.csv' and 'a2.csv'")
    assert "same bytes" in text
    assert "participants 'P1' and 'P2'" in text


def test_neither_of_two_people_with_one_recording_counts(told, tmp_path):
    (text,) = told("P1,in,1,,,a.csv,r.csv,", "P2,in,1,,,a2.csv,r2.csv,", "P3,in,1,,,b.csv,r2.csv,x")
    study = read_study(tmp_path)
    fine = [TrialResult(*row.identity, "angle", "ok") for row in study.trials]
    first, second, third = refuse_same_recordings(study, fine)
    assert (first.status, second.status, third.status) == ("failed", "failed", "ok")
    assert first.reason == second.reason == text


def test_one_recording_under_two_conditions(told):
    (text,) = told("P1,in,1,,,a.csv,r.csv,", "P1,out,1,,,a2.csv,,")
    assert "conditions 'in' and 'out'" in text
    assert "start_s" in text  # what would tell two parts of one recording apart


def test_the_same_path_twice_is_the_same_recording(told):
    (text,) = told("P1,in,1,,,a.csv,,", "P1,in,2,,,a.csv,,")
    assert "trials '1' and '2'" in text


def test_a_reference_of_two_people(told):
    (text,) = told("P1,in,1,,,a.csv,r.csv,", "P2,in,1,,,b.csv,r.csv,")
    assert "column 'reference'" in text


@pytest.mark.parametrize(
    "rows",
    [
        ("P1,in,1,0,60,a.csv,r.csv,", "P1,out,1,60,,a.csv,r.csv,"),  # parts of one recording
        ("P1,in,1,,,a.csv,r.csv,", "P1,out,1,,,b.csv,r.csv,"),  # one reference ran on
        ("P1,in,1,,,a.csv,,", "P2,in,1,,,a2.csv,,left out"),
        ("P1,in,1,,,a.csv,a.csv,", "P2,in,1,,,b.csv,b.csv,"),  # both instruments in one file
    ],
)
def test_honest_tables_pass(told, rows):
    assert told(*rows) == ()


@pytest.mark.parametrize(
    ("lengths", "rows"),
    [
        ([(60, 61), (58, 58), (62, 60), (60, 300)], [5]),
        ([(60, 61), (58, 58), (62, 60), (60, 66)], []),
        ([(600, 60), (900, 58), (700, 62)], []),  # the reference covers a part, every time
        ([(60, 200)], [2]),
        ([(60, 80)], []),
        ([], []),
    ],
)
def test_a_recording_of_a_length_unlike_its_partner(lengths, rows):
    found = unlike_partners(
        [Lasting(f"row {number}", *both) for number, both in enumerate(lengths, 2)]
    )
    assert [f"row {number}" in text for number, text in zip(rows, found, strict=True)] == [
        True
    ] * len(rows)
    for text in found:
        assert "lasts" in text


def test_a_short_reference_of_two_wearables_is_told_once_with_its_name():
    """A goniometer's file cut off: both wearables' pairs with it are unlike, and it alone is."""

    def against(name, last_s, *wearables):
        return [
            [Lasting(f"day {k}", worn_s, s, worn, name) for k, s in enumerate([98, 98, 98, last_s])]
            for worn, worn_s in wearables
        ]

    worn = (("A.csv", 100.0), ("B.csv", 95.0))
    found = unlike_partners(*against("gon.csv", 44.64, *worn), *against("opt.csv", 97.5, *worn))
    (text,) = found
    assert text.startswith(
        "day 3: the reference gon.csv lasts 44.64 s, beside the wearable A.csv of 100 s and the "
        "wearable B.csv of 95 s, which is unlike the other pairs"
    )
    assert "opt.csv" not in text


def test_a_short_wearable_of_two_references_is_told_once():
    lengths = [
        [Lasting(f"day {k}", s, 98.0, "A.csv", name) for k, s in enumerate([98, 98, 98, 40])]
        for name in ("gon.csv", "opt.csv")
    ]
    (text,) = unlike_partners(*lengths)
    assert "the reference gon.csv lasts 98 s and the reference opt.csv lasts 98 s" in text
    assert text.count("A.csv") == 1
