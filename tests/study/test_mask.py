"""The mask column of the trials table: what it may say, and every fault with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from twinangle.errors import StudyError
from twinangle.signals.recording import MaskedStretch
from twinangle.study.mask_cell import mask_text, read_mask
from twinangle.study.trial_row import Needs
from twinangle.study.trials_table import read_trials


def test_stretches_and_reasons_are_read_in_the_order_of_time():
    found = read_mask("30-31.2 stumble; 12.5 - 14.0 s: slipped  strap", None, ",")

    assert found == (
        MaskedStretch(12.5, 14.0, "slipped strap"),
        MaskedStretch(30.0, 31.2, "stumble"),
    )
    assert read_mask(mask_text(found), None, ",") == found
    assert read_mask("", None, ",") == ()


def test_signs_dashes_and_decimal_commas():
    assert read_mask("-2.5--1.5 knock", None, ",")[0].start_s == -2.5
    assert read_mask("3–4,5 to and fro", None, ";")[0] == MaskedStretch(3.0, 4.5, "to and fro")


@pytest.mark.parametrize(
    ("cell", "part"),
    [
        ("12.5-14.0", "gives no reason for 12.5 to 14 s"),
        ("14-12.5 strap", "ends (12.5 s) before it starts (14 s)"),
        ("12.5 strap", "accepted: start and end in seconds and a reason"),
        ("1-2 a; 1.5-3 b", "overlap (1 to 2 s and 1.5 to 3 s)"),
        ("1-1.05 a", "the shortest that can be masked is 0.1 s"),
        ("gone.csv", "'gone.csv' cannot be read"),
        ("../gone.csv", "leaves the study folder"),
    ],
)
def test_faults_of_a_cell_name_row_and_column(tmp_path: Path, cell: str, part: str):
    (tmp_path / "a.csv").write_text("time_s\n")
    (tmp_path / "trials.csv").write_text(f"participant,wearable,mask\nP1,a.csv,{cell}\n")

    with pytest.raises(StudyError) as caught:
        read_trials(tmp_path, "trials.csv", Needs(static=False, reference=False, events=False))

    assert "trials.csv, row 2, column 'mask': " in str(caught.value)
    assert part in str(caught.value)


def test_a_table_of_stretches(tmp_path: Path):
    path = tmp_path / "mask.csv"
    path.write_text("start_s;end_s;reason\n1,5;2,5;strap\n\n7;8;stumble\n")

    found = read_mask("mask.csv", path, ",")

    assert [one.start_s for one in found] == [1.5, 7.0]
    path.write_text("start_s,end_s,reason\n1,2,\n")
    with pytest.raises(StudyError, match=r"'mask\.csv', row 2: gives no reason"):
        read_mask("mask.csv", path, ",")
    path.write_text("start_s,end_s\n1,2\n")
    with pytest.raises(StudyError, match="lacks the column 'reason'"):
        read_mask("mask.csv", path, ",")
