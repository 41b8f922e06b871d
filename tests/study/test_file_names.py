"""Dates and names of people in file names are warned of: results and report print file names."""

from __future__ import annotations

import pytest

from twinangle.study import read_study


def warnings(folder, name, condition="indoor"):
    (folder / "study.toml").write_text(
        '[study]\ntitle = "x"\njoint = "knee"\ntrials = "trials.csv"\n'
        '[wearable]\nkind = "angle"\ntime = "t"\nangle = "a"\n'
    )
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("t,a\n")
    (folder / "trials.csv").write_text(f"participant;condition;wearable\nP01;{condition};{name}\n")
    return read_study(folder).warnings


@pytest.mark.parametrize(
    "name",
    [
        "P01_1990-05-17.csv",
        "P01_19900517.csv",
        "17.05.1990/P01.csv",
        "P01_17_05_1990.csv",
        "Mara_Musterfrau.csv",
        "MusterfrauMara_indoor.csv",
        "Musterfrau Mara/P01.csv",
    ],
)
def test_names_and_dates_are_warned_of(tmp_path, name):
    (warning,) = warnings(tmp_path, name)
    assert repr(name) in warning
    assert "file name" in warning


@pytest.mark.parametrize(
    "name",
    [
        "P01_indoor.csv",
        "Left_Knee.csv",
        "Knee_Angle/P01_Walk.csv",
        "P01_Hill_Path.csv",
        "data/P01_1_2_3.csv",
        "imu_000123456.csv",
        "WalkTrial_04.csv",
    ],
)
def test_codes_conditions_and_words_of_the_trade_are_not(tmp_path, name):
    assert warnings(tmp_path, name, condition="Hill Path") == ()
