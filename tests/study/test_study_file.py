"""The study file: what is read, and that every fault is listed with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from twinangle.errors import StudyError
from twinangle.signals.recording import Interval
from twinangle.study import read_study

# The example of the contract, with the trials table's name and columns as documented.
STUDY = """\
[study]
title = "Ridge path study"
joint = "knee"
trials = "trials.csv"

[wearable]
kind = "inertial"
time = "time_s"
gyroscope_sample = "instantaneous"
[wearable.proximal]
accelerometer = ["thigh_acc_x", "thigh_acc_y", "thigh_acc_z"]
gyroscope     = ["thigh_gyr_x", "thigh_gyr_y", "thigh_gyr_z"]
magnetometer  = ["thigh_mag_x", "thigh_mag_y", "thigh_mag_z"]
[wearable.distal]
accelerometer = ["shank_acc_x", "shank_acc_y", "shank_acc_z"]
gyroscope     = ["shank_gyr_x", "shank_gyr_y", "shank_gyr_z"]
magnetometer  = ["shank_mag_x", "shank_mag_y", "shank_mag_z"]
[wearable.units]
accelerometer = "m/s^2"
gyroscope = "rad/s"
magnetometer = "uT"

[reference]
kind = "angle"
time = "time_s"
angle = "knee_deg"
unit = "deg"
gain = 1.0
offset = 0.0
sign = 1

[synchronisation]
method = "cross-correlation"
max_lag_s = 30.0
drift = true

[cycles]
method = "shank-gyroscope"

[agreement]
confidence = 0.95
acceptable_deg = 5.0
"""
ANGLE_STUDY = """\
[study]
title = "Ready angles"
joint = "elbow"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angles = { filter_a = "knee_a", filter_b = "knee_b" }
"""
HEADER = "participant,session,condition,trial,side,wearable,reference,static_start_s,static_end_s"
ROW = "P01,1,indoor,1,left,wearable.csv,reference.csv,1.5,4"


@pytest.fixture
def write(tmp_path: Path):
    """Return a function that writes a study folder and returns its path."""

    def write_study(study: str = STUDY, table: str = f"{HEADER}\n{ROW}\n") -> Path:
        for name in ("wearable.csv", "reference.csv", "static.csv"):
            (tmp_path / name).write_text("time_s\n0\n")
        (tmp_path / "study.toml").write_text(study, encoding="utf-8")
        (tmp_path / "trials.csv").write_text(table, encoding="utf-8")
        return tmp_path

    return write_study


def faults(folder: Path) -> list[str]:
    with pytest.raises(StudyError) as caught:
        read_study(folder / "study.toml")
    lines = str(caught.value).split("\n  ")
    return lines[1:] if len(lines) > 1 else lines


def test_the_contracts_example_is_read(write):
    folder = write()

    study = read_study(folder / "study.toml")

    assert (study.title, study.joint, study.folder) == ("Ridge path study", "knee", folder)
    assert study.wearable.kind == "inertial"
    assert study.wearable.columns[:3] == ("thigh_acc_x", "thigh_acc_y", "thigh_acc_z")
    assert len(study.wearable.columns) == 18
    assert study.wearable.procedures == ("kalman",)
    assert study.reference is not None
    assert study.reference.columns == ("knee_deg",)
    assert study.agreement.acceptable_deg == 5.0
    (trial,) = study.trials
    assert trial.identity == ("P01", "1", "indoor", "1", "left")
    assert trial.static == Interval(1.5, 4.0)
    assert trial.reference == folder / "reference.csv"
    assert (trial.functional, trial.start_s, trial.exclude, trial.row) == (None, None, "", 2)


def test_a_folder_stands_for_its_study_file(write):
    assert read_study(write()).path.name == "study.toml"


def test_defaults_fill_what_is_left_out(write):
    folder = write(ANGLE_STUDY, "participant,wearable\nP01,wearable.csv\n")

    study = read_study(folder)

    assert study.reference is None
    assert study.wearable.procedures == ("filter_a", "filter_b")
    assert study.cycles.method == "angle-peak"  # a ready angle has no gyroscope
    assert study.synchronisation.max_lag_s == 30.0
    assert study.trials[0].identity == ("P01", "1", "all", "1", "")


def test_own_procedures_by_module_and_function_are_kept(write):
    study = STUDY.replace(
        'kind = "inertial"', 'kind = "inertial"\nprocedures = ["vqf", "own:knee"]'
    )

    found = read_study(write(study), allow_own_procedures=True)
    assert found.wearable.procedures == ("vqf", "own:knee")
    with pytest.raises(
        StudyError, match=r"line 8: .*'own:knee'.*--allow-own-procedures"
    ) as refused:
        read_study(write(study))
    assert "allow_own_procedures=True" in str(refused.value)


def test_whole_numbers_are_taken_for_numbers(write):
    study = STUDY.replace("max_lag_s = 30.0", "max_lag_s = 30")

    assert read_study(write(study)).synchronisation.max_lag_s == 30.0


@pytest.mark.parametrize(
    ("old", "new", "line", "parts"),
    [
        ('joint = "knee"', 'joint = "nee"', 3, ["`joint`", "'nee'", "'knee' or 'elbow'"]),
        ('title = "Ridge path study"', 'title = ""', 2, ["`title`", "must not be empty"]),
        ('joint = "knee"\n', "", 1, ["[study]", "`joint` is missing"]),
        ('time = "time_s"\ngyro', 'tim = "time_s"\ngyro', 8, ["`tim`", "Did you mean 'time'"]),
        ('kind = "inertial"', 'kind = "inertia"', 7, ["'inertia'", "'inertial', 'orientation'"]),
        (', "thigh_acc_z"]', "]", 11, ["`accelerometer`", "3 different columns", "thigh_acc_x"]),
        ('"thigh_gyr_y"', "3", 12, ["item 2 of `gyroscope`", "string", "got 3"]),
        ("magnetometer  = [\"shank_mag_x\", \"shank_mag_y\", \"shank_mag_z\"]\n", "", 6,
         ["[wearable]", "both sensors, or for neither"]),
        ('"shank_acc_x"', '"thigh_acc_x"', 6, ["'thigh_acc_x'", "more than once"]),
        ('accelerometer = "m/s^2"', 'accelerometer = "kg"', 19, ["'kg'", "'m/s^2', 'g' or 'mg'"]),
        ('kind = "angle"', 'kind = "angel"', 24, ["'angel'", "Did you mean 'angle'"]),
        ("sign = 1", "sign = 2", 30, ["`sign`", "-1", "got 2"]),
        ("sign = 1", 'sign = "1"', 30, ["`sign`", "integer", "got '1'"]),
        ('unit = "deg"\ngain = 1.0', 'unit = "V"', 23, ["`gain`", '"V"']),
        ("gain = 1.0", "gain = nan", 28, ["`gain`", "finite", "nan"]),
        ("max_lag_s = 30.0", "max_lag_s = 0", 34, ["`max_lag_s`", "greater than 0", "got 0"]),
        ('method = "cross-correlation"', 'method = "manual"', 32, ["'lag_s'", "'manual'"]),
        ("drift = true", "lag_s = 0.1", 32, ["'lag_s'", "manual"]),
        ("drift = true", 'drift = "yes"', 35, ["`drift`", "boolean", "'yes'"]),
        ('method = "shank-gyroscope"', 'method = "gyro"', 38, ["`method`", "'angle-peak'"]),
        ("confidence = 0.95", "confidence = 95", 41, ["`confidence`", "less than 1", "got 95"]),
        ("acceptable_deg = 5.0", "acceptable_deg = -1", 42, ["`acceptable_deg`", "got -1"]),
        ("[agreement]", "[agrement]", 40, ["[agrement]", "Did you mean 'agreement'"]),
    ],
)  # fmt: skip
def test_a_fault_names_line_key_and_what_is_accepted(write, old, new, line, parts):
    assert old in STUDY

    (fault,) = faults(write(STUDY.replace(old, new, 1)))

    assert fault.startswith(f"study.toml, line {line}: ")
    for part in parts:
        assert part in fault


def test_every_fault_is_listed_at_once_in_the_order_of_the_file(write):
    study = STUDY.replace('"knee"', '"nee"').replace("sign = 1", "sign = 0")
    table = f"{HEADER}\n{ROW}\nP01,1,indoor,1,lft,wearble.csv,,3,2\n"

    found = faults(write(study, table))

    assert [fault.split(":")[0] for fault in found] == [
        "study.toml, line 3",
        "study.toml, line 30",
        "trials.csv, row 3, column 'side'",
        "trials.csv, row 3, column 'wearable'",
        "trials.csv, row 3, column 'static_end_s'",
    ]


def test_a_missing_study_file_is_named(tmp_path):
    with pytest.raises(StudyError, match=r"nowhere\.toml: there is no such file"):
        read_study(tmp_path / "nowhere.toml")


def test_broken_toml_is_told_with_its_line(write):
    (fault,) = faults(write(STUDY.replace('joint = "knee"', "joint = knee")))

    assert "not valid TOML" in fault
    assert "line 3" in fault


def test_backslashes_in_a_path_get_a_hint(write):
    (fault,) = faults(write(STUDY.replace('"trials.csv"', r'"data\trials\list.csv"')))

    assert "write paths with /" in fault


def test_text_that_is_not_utf_8_is_refused(write):
    folder = write()
    (folder / "study.toml").write_bytes(STUDY.encode().replace(b"Ridge", b"R\xe4dge"))

    assert "not UTF-8" in faults(folder)[0]


def test_a_byte_order_mark_is_no_fault(write):
    folder = write()
    (folder / "study.toml").write_bytes(b"\xef\xbb\xbf" + STUDY.encode())

    assert read_study(folder).title == "Ridge path study"


def test_a_wearable_angle_has_no_gyroscope_for_the_cycles(write):
    study = ANGLE_STUDY + '[cycles]\nmethod = "shank-gyroscope"\nmovement = "walking"\n'

    (fault,) = faults(write(study, "participant,wearable\nP01,wearable.csv\n"))

    assert "no gyroscope" in fault


def test_a_condition_to_compare_with_must_exist(write):
    (fault,) = faults(write(STUDY + '[conditions]\nagainst = "indor"\n'))

    assert "'indor'" in fault
    assert "Did you mean 'indoor'" in fault
