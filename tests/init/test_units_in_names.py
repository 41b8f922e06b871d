"""Channels that carry their unit in their name are known by the rest of it."""

from __future__ import annotations

import pytest

from twinangle.init.recognition import without_unit


@pytest.mark.parametrize(
    ("name", "bare"),
    [
        ("Thigh ACC.X [g]", "Thigh ACC.X"),
        ("Thigh ACC X (g)", "Thigh ACC X"),
        ("Thigh_ACC_X_g", "Thigh_ACC_X"),
        ("shank_gyr_z_rad/s", "shank_gyr_z"),
        ("shank_gyr_z_dps", "shank_gyr_z"),
        ("thigh_acc_x_m_s2", "thigh_acc_x"),
        ("thigh_mag_y [µT]", "thigh_mag_y"),
        ("thigh_acc_x", "thigh_acc_x"),
        ("[g]", "[g]"),
        ("knee angle", "knee angle"),
    ],
)
def test_a_unit_at_the_end_is_no_part_of_the_name(name, bare):
    assert without_unit(name) == bare


@pytest.mark.parametrize("unit", [" [g]", " (g)", "_g"])
def test_sensors_are_recognised_with_units_in_their_names(tmp_path, unit):
    from twinangle.simulate import write_demo_study

    folder = write_demo_study(tmp_path / "lab", participants=1, walk_s=8.0).parent
    path = folder / "wearable/P01_indoor.csv"
    header, rest = path.read_text(encoding="utf-8").split("\n", 1)
    names = [f"{each}{unit}" if "_acc_" in each else each for each in header.split(",")]
    path.write_text(",".join(names) + "\n" + rest, encoding="utf-8")
    from twinangle.formats import describe_file
    from twinangle.init.recognition import find_sensors

    found = find_sensors(describe_file(path))
    assert all("accelerometer" in each for each in found.by_segment.values())


def test_two_goniometers_are_no_pair_where_another_file_is_not_recognised(tmp_path):
    """What a new user met: sensors under other names, and two people's goniometers paired."""
    from typer.testing import CliRunner

    from twinangle.cli import app

    folder = tmp_path / "lab"
    folder.mkdir()
    rows = "\n".join(f"{k / 100:.2f},{k % 60}" for k in range(500))
    for code in ("S01", "S02"):
        (folder / f"{code}_walk_gonio.csv").write_text(f"time_s,knee_flexion\n{rows}\n")
        (folder / f"{code}_walk_imu.csv").write_text(f"time_s,channel 17\n{rows}\n")
    said = CliRunner().invoke(app, ["init", str(folder)])
    text = said.output + (folder / "study.toml").read_text(encoding="utf-8")
    assert "taken for the wearable" not in text
    assert "it holds" in said.output
    assert "'channel 17'" in said.output.replace("\n", " ")


def test_check_says_where_no_recording_has_a_reference(tmp_path):
    from typer.testing import CliRunner

    from twinangle.cli import app
    from twinangle.simulate import write_demo_study

    path = write_demo_study(tmp_path / "study", participants=1, walk_s=8.0, conditions=["outdoor"])
    said = CliRunner().invoke(app, ["check", str(path)])
    assert "No recording has a reference" in said.output
