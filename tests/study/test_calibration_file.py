"""A calibration file named in the study file stands in for gain and offset."""

from __future__ import annotations

from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from twinangle.errors import StudyError
from twinangle.signals.straight_line import fit_calibration
from twinangle.study import read_study

STUDY = """\
[study]
title = "Volts"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angle = "knee"
[reference]
kind = "angle"
time = "time_s"
angle = "gonio_v"
unit = "V"
calibration = "calibration.csv"
accuracy_deg = 1.5
"""


def write(folder: Path, calibration: str | None, study: str = STUDY) -> Path:
    (folder / "study.toml").write_text(study)
    (folder / "walk.csv").write_text("time_s,knee\n")
    (folder / "trials.csv").write_text("participant,wearable,reference\nP1,walk.csv,walk.csv\n")
    if calibration is not None:
        (folder / "calibration.csv").write_text(calibration)
    return folder


def test_gain_and_offset_are_fitted_and_the_residual_kept(tmp_path):
    points = [(0.5, 1.0), (1.0, 44.0), (1.5, 91.0), (2.0, 134.0)]
    text = "value;angle_deg\n" + "".join(f"{v};{a}\n" for v, a in points).replace(".", ",")

    study = read_study(write(tmp_path, text))

    # By hand: mean 1.25 and 67.5, S_xy 111.5, S_xx 1.25; residuals 0.4, -1.2, 1.2, -0.4.
    assert study.reference is not None
    assert study.reference.kind == "angle"
    assert_allclose([study.reference.gain, study.reference.offset], [89.2, -44.0])
    assert study.calibration is not None
    assert study.calibration.residual_sd_deg == pytest.approx((3.2 / 2) ** 0.5)
    assert study.calibration.n_points == 4
    assert study.reference.accuracy_deg == 1.5


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (None, "cannot be read"),
        ("", "lacks the column(s) 'value' and 'angle_deg'"),
        ("value,angle\n1,2\n", "lacks the column(s) 'angle_deg'; found 'value' and 'angle'"),
        ("value,angle_deg\n1,2\n2,x\n3,4\n", "row 3: holds '2' and 'x'"),
        ("value,angle_deg\n1,2\n2,3\n", "at least 3 pairs"),
        ("value,angle_deg\n1,2\n1,3\n1,4\n", "all readings are 1"),
    ],
)
def test_a_faulty_calibration_is_told_at_its_key(tmp_path, text, part):
    with pytest.raises(StudyError) as caught:
        read_study(write(tmp_path, text))

    assert str(caught.value).startswith("study.toml, line 14: calibration 'calibration.csv'")
    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ('calibration = "calibration.csv"', "", "needs `gain` (degrees per volt) or `calibration`"),
        ("accuracy_deg = 1.5", "gain = 2.0", "`calibration` as well as `gain`"),
        ("accuracy_deg = 1.5", "limits = [5.0, 0.0]", "`limits` in increasing order"),
        ("accuracy_deg = 1.5", 'second_plane = "abd_v"', "`second_plane` and `crosstalk` together"),
        ('"calibration.csv"', '"../calibration.csv"', "leaves the study folder"),
    ],
)
def test_keys_that_do_not_go_together_are_refused(tmp_path, old, new, part):
    with pytest.raises(StudyError) as caught:
        read_study(write(tmp_path, "value,angle_deg\n1,2\n2,3\n3,4\n", STUDY.replace(old, new)))

    assert part in str(caught.value)


def test_a_line_is_fitted_exactly():
    fitted = fit_calibration([0.0, 1.0, 2.0, 5.0], [-10.0, 80.0, 170.0, 440.0])

    assert_allclose([fitted.gain, fitted.offset], [90, -10])
    assert fitted.residual_sd_deg == pytest.approx(0, abs=1e-9)
    assert "gain 90, offset -10" in fitted.summary()
