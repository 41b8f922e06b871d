"""Ways of naming files that a laboratory may have: read right, or asked about; never passed over.

The names are invented after common practice, no source.
"""

from __future__ import annotations

import csv
import io

import pytest

from twinangle.init import propose_study, write_proposal
from twinangle.init.paths import identity, place_of
from twinangle.init.words_in_paths import words_of
from twinangle.study import read_study

CLOCK = [k / 60 for k in range(12)]
ONE = tuple(f"{kind}_{axis}" for kind in ("acc", "gyr") for axis in "xyz")
BOTH = tuple(f"{segment}_{name}" for segment in ("thigh", "shank") for name in ONE)
OTHER = tuple(f"{s}_q{x}" for s in ("thigh", "shank") for x in "wxyz")
KNEE = ("knee_deg",)


def write(path, columns):
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = [["time_s", *columns], *([t, *(round(t, 3) for _ in columns)] for t in CLOCK)]
    path.write_text("\n".join(",".join(map(str, row)) for row in rows) + "\n", encoding="utf-8")


def proposed(folder, names):
    for name, columns in names.items():
        write(folder / name, columns)
    found = propose_study(folder)
    return found, list(csv.DictReader(io.StringIO(found.trials_csv)))


def of_people(*patterns, people=("P01", "P02")):
    """Return names and columns of two people, one file a pattern."""
    return {pattern.format(p=p): columns for p in people for pattern, columns in patterns}


def told(found):
    return "\n".join(found.open_questions)


INDOORS_AND_OUT = {
    "device in the middle": ("{p}_A_indoor.csv", "{p}_A_outdoor.csv", "{p}_gonio_indoor.csv"),
    "device last": ("{p}_indoor_A.csv", "{p}_outdoor_A.csv", "{p}_indoor_gonio.csv"),
    "device first": ("A_{p}_indoor.csv", "A_{p}_outdoor.csv", "gonio_{p}_indoor.csv"),
    "a folder a device": ("xband/{p}_indoor.csv", "xband/{p}_outdoor.csv", "lab2/{p}_indoor.csv"),
    "a folder a person": ("{p}/indoor/imu.csv", "{p}/outdoor/imu.csv", "{p}/indoor/gonio.csv"),
    "spaces": ("{p} indoor imu.csv", "{p} outdoor imu.csv", "{p} indoor goniometer.csv"),
    "hyphens": ("{p}-indoor-imu.csv", "{p}-outdoor-imu.csv", "{p}-indoor-gonio.csv"),
    "full stops": ("{p}.indoor.imu.csv", "{p}.outdoor.imu.csv", "{p}.indoor.gonio.csv"),
    "capitals alone": ("{p}IndoorImu.csv", "{p}OutdoorImu.csv", "{p}IndoorGonio.csv"),
    "other capitals": ("{p}_indoor_IMU.csv", "{p}_outdoor_IMU.csv", "{p}_INDOOR_gonio.csv"),
    "own times of day": (
        "{p}_indoor_20250304_101530.csv", "{p}_outdoor_20250304_103207.csv",
        "{p}_gonio_indoor_20250304_101502.csv",
    ),
    "a person without a code": (
        "{p}_indoor_xband.csv", "{p}_outdoor_xband.csv", "{p}_indoor_gonio.csv"),
}  # fmt: skip


@pytest.mark.parametrize("scheme", INDOORS_AND_OUT)
def test_the_reference_is_found_and_the_device_is_no_condition(tmp_path, scheme):
    people = ("kt", "ml") if "without" in scheme else ("P01", "P02")
    indoor, outdoor, reference = INDOORS_AND_OUT[scheme]
    names = of_people((indoor, BOTH), (outdoor, BOTH), (reference, KNEE), people=people)
    found, rows = proposed(tmp_path, names)
    assert [row["participant"] for row in rows] == [people[0]] * 2 + [people[1]] * 2
    assert [row["condition"].lower() for row in rows] == ["indoor", "outdoor"] * 2
    assert [row["reference"] for row in rows[::2]] == [reference.format(p=p) for p in people]
    assert not any(row["reference"] for row in rows[1::2])
    for word in ("A", "xband"):
        own = word in words_of(indoor)
        assert own == (f"'{word}' in the names of wearable files alone is taken" in told(found))
    assert ("taken for participants: 'kt' and 'ml'" in told(found)) == (people[0] == "kt")
    assert ("differ in capitals alone" in told(found)) == (scheme == "other capitals")


@pytest.mark.parametrize(
    ("patterns", "column", "values"),
    [
        (["{p}_indoor_{k}_{n}.csv"], "trial", ["1", "2", "3"]),
        (["{p}_Trial_{n}_{k}.csv"], "trial", ["1", "2", "3"]),
        (["{p}/treadmill {n} {k}.csv"], "trial", ["1", "2", "3"]),
        (["{p}/{n}/{k} indoor.csv"], "session", ["2025-03-04", "2025-03-11"]),
        (["{n}_{p}_indoor_{k}.csv"], "session", ["20250304", "20250311"]),
        (["{n}/{p}_indoor_{k}.csv"], "session", ["04.03.2025", "11.03.2025"]),
        (["{p}_{n}_walk_{k}.csv"], "side", ["left", "right"]),
        (["{p}_walk_{k}_{n}.csv"], "side", ["L", "R"]),
    ],
)
def test_trials_dates_and_sides_are_neither_devices_nor_conditions(
    tmp_path, patterns, column, values
):
    names = {
        patterns[0].format(p=p, n=n, k=kind): columns
        for p in ("P01", "P02")
        for n in values
        for kind, columns in (("imu", BOTH), ("gonio", KNEE))
    }
    found, rows = proposed(tmp_path, names)
    expected = [{"L": "left", "R": "right"}.get(n, n.replace(".", "-")) for n in values]
    for person in ("P01", "P02"):
        assert sorted(r[column] for r in rows if r["participant"] == person) == expected
    assert all(row["reference"].replace("gonio", "imu") == row["wearable"] for row in rows)
    assert len({row["condition"] for row in rows}) == 1
    assert "devices" not in told(found)


@pytest.mark.parametrize(
    ("patterns", "columns"),
    [
        (("{p}_{d}_{c}.csv", "{p}_gonio_indoor.csv"), OTHER),
        (("{p}_{c}_{d}.csv", "{p}_indoor_gonio.csv"), OTHER),
        (("{p}/{d}/{c}.csv", None), OTHER),
        (("{p}_{d}_{c}_thigh.csv", "{p}_gonio_indoor.csv"), ONE),
    ],
)
def test_a_second_device_of_other_columns_has_its_own_section(tmp_path, patterns, columns):
    names = {}
    for p in ("P01", "P02"):
        for c in ("indoor", "outdoor"):
            names[patterns[0].format(p=p, d="A", c=c).replace("_thigh", "")] = BOTH
            second = patterns[0].format(p=p, d="B", c=c)
            names[second] = names[second.replace("thigh", "shank")] = columns
        if patterns[1]:
            names[patterns[1].format(p=p)] = KNEE
    found, rows = proposed(tmp_path, names)
    assert [row["condition"] for row in rows] == ["indoor", "outdoor"] * 2
    assert "[wearables.A.proximal]" in found.study_toml
    assert "[wearables.B.distal]" in found.study_toml
    assert all("A" in row["wearable_A"] and "B" in row["wearable_B"] for row in rows)
    assert [bool(row["reference"]) for row in rows] == [bool(patterns[1]), False] * 2
    assert "'A' and 'B' in the names are taken for devices" in told(found)
    assert "each has its own columns" in told(found)
    write_proposal(tmp_path, found)
    text = found.study_toml.replace('accelerometer = "?"', 'accelerometer = "g"')
    text = text.replace('gyroscope = "?"', 'gyroscope = "deg/s"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    table = found.trials_csv.splitlines()
    own = [k for k, name in enumerate(table[0].split(",")) if "static_" in name]
    for k, line in enumerate(table[1:], 1):
        cells = line.split(",")
        for number, place in enumerate(own):
            cells[place] = ("0.0", "0.1")[number % 2]
        table[k] = ",".join(cells)
    (tmp_path / "trials.csv").write_text("\n".join(table), encoding="utf-8")
    assert len(read_study(tmp_path).trials) == 4


def test_standing_files_go_with_their_own_device(tmp_path):
    patterns = [(f"{{p}}_{d}_{c}.csv", BOTH) for d in "AB" for c in ("indoor", "static")]
    _, rows = proposed(tmp_path, of_people(*patterns, ("{p}_gonio_indoor.csv", KNEE)))
    assert len(rows) == 2
    for row in rows:
        for device in "AB":
            name = f"{row['participant']}_{device}_static.csv"
            assert row[f"wearable_{device}_static"] == name


def test_a_second_device_of_angles_is_left_out_by_name(tmp_path):
    patterns = [(f"{{p}}_{d}_{c}.csv", columns) for d, columns in (("A", BOTH), ("B", ("flexion",)))
                for c in ("indoor", "outdoor")]  # fmt: skip
    found, rows = proposed(tmp_path, of_people(*patterns, ("{p}_gonio_indoor.csv", KNEE)))
    assert {row["condition"] for row in rows} == {"indoor", "outdoor"}
    assert rows[0]["reference"] == "P01_gonio_indoor.csv"
    assert "take in 'B' (4 files, left out here)" in told(found)


def test_whether_lone_angles_are_a_reference_is_asked(tmp_path):
    patterns = [("{p}_A.csv", BOTH), ("{p}_B.csv", ("flexion",))]
    found, rows = proposed(tmp_path, of_people(*patterns))
    assert [row["reference"] for row in rows] == ["P01_B.csv", "P02_B.csv"]
    assert "whether 'B' is a reference, as which it is written, or a second device" in told(found)


def test_devices_that_take_turns_are_no_conditions(tmp_path):
    patterns = [("{p}_indoor_A_left.csv", BOTH), ("{p}_indoor_B_right.csv", BOTH),
                ("{p}_indoor_gonio_left.csv", KNEE)]  # fmt: skip
    found, rows = proposed(tmp_path, of_people(*patterns))
    assert {row["condition"] for row in rows} == {"indoor"}
    assert "'A' and 'B' in the names of wearable files alone are taken for names" in told(found)


def test_indoors_and_outdoors_are_no_pair(tmp_path):
    _, rows = proposed(
        tmp_path, of_people(("{p}_outdoor_imu.csv", BOTH), ("{p}_indoor_gonio.csv", KNEE))
    )
    assert [row["reference"] for row in rows] == ["", ""]


def test_a_code_in_two_words_is_one_participant(tmp_path):
    patterns = [("KN_{p}_indoor_imu.csv", BOTH), ("KN_{p}_indoor_gonio.csv", KNEE)]
    found, rows = proposed(tmp_path, of_people(*patterns, people=("01", "02")))
    assert [row["participant"] for row in rows] == ["KN-01", "KN-02"]
    assert "taken for participants: 'KN-01' and 'KN-02'" in told(found)


def test_rows_that_no_name_tells_apart_are_told(tmp_path):
    names = {f"P01_walk_2025-03-04_{clock}.csv": BOTH for clock in ("1015", "1130", "1245")}
    found, rows = proposed(tmp_path, names)
    assert {row["condition"] for row in rows} == {"walk"}
    assert "need a `trial` or `condition` each: rows 2, 3, 4." in told(found)


def test_no_file_of_a_device_takes_the_place_of_another(tmp_path):
    names = {
        f"{p}_{d}_walk_2025-03-04_{clock}.csv": BOTH
        for p in ("P01", "P02") for d in "AB" for clock in ("1015", "1130")
    }  # fmt: skip
    found, rows = proposed(tmp_path, names)
    written = [row[f"wearable_{d}"] for row in rows for d in "AB"]
    assert sorted(written) == sorted(names)
    assert "need a `trial` or `condition` each: rows 2, 3; rows 4, 5." in told(found)


def test_where_no_word_may_be_a_person_a_blank_stands(tmp_path):
    found, rows = proposed(tmp_path, {f"{c}_imu.csv": BOTH for c in ("indoor", "outdoor")})
    assert [row["participant"] for row in rows] == ["?", "?"]
    assert "who was recorded" in told(found)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("P01/2025_03_04 10-15-30/imu.csv", ["P01", "2025-03-04", "10:15:30", "imu"]),
        ("P01_20250304T1015.csv", ["P01", "20250304", "10:15"]),
        ("sub-01_ses-pre_trial-2.csv", ["sub-01", "ses-pre", "trial-2"]),
        ("P01ForeArm.csv", ["P01", "ForeArm"]),
        ("04.03.2025/P01.walk.v2.csv", ["04-03-2025", "P01", "walk", "v2"]),
        ("123456789_a.csv", ["123456789", "a"]),
    ],
)
def test_words_of_a_path(path, words):
    assert words_of(path) == words


@pytest.mark.parametrize(
    ("path", "column", "value"),
    [
        ("strap1_P01_walk", "participant", "P01"),
        ("kt_walk2", "participant", "kt"),
        ("steps 20 P01", "trial", "1"),
        ("P01_R_2", "trial", "2"),
        ("P01_20250304_S2", "session", "2"),
        ("P01_2025-13-04", "session", "1"),  # no date
    ],
)
def test_what_a_word_is_taken_for(path, column, value):
    assert identity(place_of(path).tokens)[column] == value
