"""Folders of pairs, sensors and one angle, whose names are not English: paired, or asked about.

The names are invented after common practice, no source.
"""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import dataclass
from itertools import pairwise

import pytest

from twinangle.formats import describe_file
from twinangle.init import propose_study, suggest_section
from twinangle.init.languages import SPELT, in_english
from twinangle.init.paths import identity, place_of
from twinangle.init.units_in_names import angle_unit, instrument_of_unit


@dataclass(frozen=True)
class Folder:
    """Names of the two kinds of files and of their columns, and what a draft has to say."""

    worn: str
    angle: str
    time: str
    sensors: tuple[str, ...]  # of columns, with {x} for the axis
    angles: tuple[str, ...]
    people: tuple[str, str]
    condition: str
    side: str = ""
    segments: bool = True  # whether names tell them
    unit: str | None = "deg"
    joint: str = "knee"


FOLDERS = {
    "German, one letter an instrument": Folder(
        "KniE.{p}_halle_li.imu.txt", "KniE.{p}_halle_li.egm.txt", "Zeit [ms]",
        ("OS_a{x} [g]", "OS_w{x} [deg/s]", "OS_m{x} [uT]", "US_a{x} [g]", "US_w{x} [deg/s]",
         "US_m{x} [uT]"),
        ("Winkel [deg]",), ("vp03", "vp07"), "halle", "left",
    ),
    "German, a folder an instrument": Folder(
        "Sensoren/{p} rechts draußen.csv", "Winkelmesser/{p} rechts draußen.csv", "Zeit [s]",
        ("Oberschenkel_Beschl_{x} [m/s²]", "Oberschenkel_Drehrate_{x} [Grad/s]",
         "Unterschenkel_Beschl_{x} [m/s²]", "Unterschenkel_Drehrate_{x} [Grad/s]"),
        ("Kniewinkel [Grad]",), ("Proband1", "Proband2"), "draußen", "right",
    ),
    "French": Folder(
        "{p}_couloir_gauche_capteurs.csv", "{p}_couloir_gauche_goniomètre.csv", "Temps (s)",
        ("Cuisse accélération {x} (g)", "Cuisse vitesse angulaire {x} (deg/s)",
         "Jambe accélération {x} (g)", "Jambe vitesse angulaire {x} (deg/s)"),
        ("Angle (°)",), ("sujet03", "sujet07"), "couloir", "left",
    ),
    "French, an elbow without units": Folder(
        "{p}_droite_inertiel.csv", "{p}_droite_référence.csv", "temps",
        ("bras_a{x}", "bras_g{x}", "avant-bras_a{x}", "avant-bras_g{x}"),
        ("Flexion du coude",), ("P03", "P07"), "all", "right", unit="?", joint="elbow",
    ),
    "Spanish": Folder(
        "{p}-izquierda-exterior-sensor.csv", "{p}-izquierda-exterior-goniómetro.csv",
        "Tiempo [ms]",
        ("Muslo aceleración {x} [m/s2]", "Muslo velocidad angular {x} [rad/s]",
         "Pierna aceleración {x} [m/s2]", "Pierna velocidad angular {x} [rad/s]"),
        ("Ángulo [grados]",), ("sujeto-03", "sujeto-07"), "exterior", "left",
    ),
    "Dutch": Folder(
        "{p}_binnen_sensoren.csv", "{p}_binnen_hoek.csv", "tijd [s]",
        ("bovenbeen versnelling {x} [g]", "bovenbeen hoeksnelheid {x} [deg/s]",
         "onderbeen versnelling {x} [g]", "onderbeen hoeksnelheid {x} [deg/s]"),
        ("kniehoek [graden]",), ("deelnemer3", "deelnemer7"), "binnen",
    ),
    "Polish, of which no word is known": Folder(
        "{p}_korytarz_czujniki.csv", "{p}_korytarz_kątomierz.csv", "czas",
        ("udo przysp {x} [g]", "udo predkosc {x} [deg/s]", "goleń przysp {x} [g]",
         "goleń predkosc {x} [deg/s]"),
        ("kąt [deg]",), ("P03", "P07"), "korytarz", segments=False,
    ),
    "no name of a column tells anything": Folder(
        "{p}_azul_interior.csv", "{p}_rojo_interior.csv", "Tiempo [s]",
        tuple(f"canal{k}{{x}}q" for k in range(6)),
        ("canal1",), ("P03", "P07"), "interior", segments=False, unit="?",
    ),
}  # fmt: skip


def write(path, time, columns):
    path.parent.mkdir(parents=True, exist_ok=True)
    step = 10 if "ms" in time else 0.01
    rows = [[time, *columns], *([k * step, *(k % 3 for _ in columns)] for k in range(12))]
    path.write_text("\n".join(";".join(map(str, row)) for row in rows) + "\n", encoding="utf-8")


def drafted(folder, names, time="Zeit [s]"):
    for name, columns in names.items():
        write(folder / name, time, columns)
    found = propose_study(folder)
    rows = list(csv.DictReader(io.StringIO(found.trials_csv)))
    return found, tomllib.loads(found.study_toml), rows


@pytest.mark.parametrize("name", FOLDERS)
def test_sensors_and_angle_are_paired_in_any_language(tmp_path, name):
    given = FOLDERS[name]
    columns = tuple(each.format(x=x) for each in given.sensors for x in "xyz")
    names = {given.worn.format(p=p): columns for p in given.people}
    names |= {given.angle.format(p=p): given.angles for p in given.people}
    found, study, rows = drafted(tmp_path, names, given.time)
    assert [row["wearable"] for row in rows] == [given.worn.format(p=p) for p in given.people]
    assert [row["reference"] for row in rows] == [given.angle.format(p=p) for p in given.people]
    assert [row["participant"] for row in rows] == list(given.people)
    assert {row["condition"] for row in rows} == {given.condition}
    assert {row["side"] for row in rows} == {given.side}
    assert study["study"]["joint"] == given.joint
    assert study["reference"]["angle"] == given.angles[0]
    assert study["reference"]["unit"] == given.unit
    if given.segments:
        first, second = (study["wearable"][one] for one in ("proximal", "distal"))
        for k, instrument in enumerate(("accelerometer", "gyroscope")):
            half = len(columns) // 2
            assert first[instrument] == list(columns[3 * k : 3 * k + 3])
            assert second[instrument] == list(columns[half + 3 * k : half + 3 * k + 3])
    else:
        assert '"?' in found.study_toml
    assert ("'KniE', which all names have, is left out" in "\n".join(found.open_questions)) == (
        "KniE" in given.worn
    )
    assert ('time = "czas", time_unit = "s"' in found.study_toml) == (given.time == "czas")
    assert "OS was taken for the thigh's sensor" in found.study_toml or "OS_" not in columns[0]


def test_of_unknown_sensors_names_of_any_language_are_asked_about(tmp_path):
    given = FOLDERS["Polish, of which no word is known"]
    columns = [each.format(x=x) for each in given.sensors for x in "xyz"]
    found, _, _ = drafted(tmp_path, {"P03.csv": columns, "P07.csv": columns})
    assert '[wearable."? udo"]' in found.study_toml
    assert "if on the thigh" in found.study_toml


@pytest.mark.parametrize(("worn", "angle", "paired"), [(3, 1, True), (8, 7, False)])
def test_where_no_column_tells_which_is_which_the_draft_asks(tmp_path, worn, angle, paired):
    names = {}
    for p in ("P03", "P07"):
        names[f"{p}_blau.csv"] = [f"Kanal {k}" for k in range(worn)]
        names[f"{p}_rot.csv"] = [f"Kanal {k}" for k in range(angle)]
    found, _, rows = drafted(tmp_path, names)
    said = "\n".join(found.open_questions)
    assert "which of P03_blau.csv and P03_rot.csv, that go together by their names" in said
    assert len(rows) == (2 if paired else 4)
    assert ("Swap sections and columns" in said) == paired


def test_of_two_vectors_of_one_unit_none_is_taken_for_the_sensor(tmp_path):
    kinds = ("{s} ruhend {x} [m/s^2]", "{s} frei {x} [m/s^2]", "{s} dreh {x} [deg/s]")
    columns = [k.format(s=s, x=x) for s in ("thigh", "shank") for k in kinds for x in "xyz"]
    found, study, _ = drafted(tmp_path, {"P03.csv": columns, "P07.csv": columns})
    assert study["wearable"]["kind"] == "?"
    assert "no channel is recognised" in "\n".join(found.open_questions)


def test_words_come_before_units(tmp_path):
    kinds = ("{s}_gravity_{x} [m/s^2]", "{s}_acc_{x} [m/s^2]", "{s}_gyr_{x} [deg/s]")
    columns = [k.format(s=s, x=x) for s in ("thigh", "shank") for k in kinds for x in "xyz"]
    _, study, _ = drafted(tmp_path, {"P03.csv": columns, "P07.csv": columns})
    assert study["wearable"]["distal"]["accelerometer"][0] == "shank_acc_x [m/s^2]"


def test_markers_of_one_letter_are_no_sensors(tmp_path):
    columns = [f"{marker}{x} [mm]" for marker in "agmk" for x in "xyz"]
    write(tmp_path / "P03.csv", "t", columns)
    section = suggest_section(describe_file(tmp_path / "P03.csv"))
    assert 'kind = "markers"' in section


def test_conditions_of_two_layouts_are_no_pair(tmp_path):
    names = {f"{p}_drinnen.csv": [f"k{k}" for k in range(8)] for p in ("P03", "P07")}
    names |= {f"{p}_draußen.csv": ["k1"] for p in ("P03", "P07")}
    found, _, rows = drafted(tmp_path, names)
    assert not any(row["reference"] for row in rows)
    assert "go together by their names" not in "\n".join(found.open_questions)


@pytest.mark.parametrize(
    ("path", "column", "value"),
    [
        ("vp 03_links_Versuch 2.csv", "trial", "2"),
        ("vp 03_links_Versuch 2.csv", "participant", "vp03"),
        ("paciente3_séance2_marche.csv", "session", "2"),
        ("Pat_03/visite 2/marche.csv", "participant", "Pat03"),
        ("Pat_03/visite 2/marche.csv", "session", "2"),
        ("P03_dx_scale.csv", "side", "right"),
        ("P03_halle_2.csv", "trial", "2"),
        ("P03_reposo.csv", "condition", "all"),
    ],
)
def test_what_a_word_of_another_language_is_taken_for(path, column, value):
    assert identity(place_of(path).tokens)[column] == value


def test_a_word_stands_for_one_english_word():
    words = sorted(word for spelt in SPELT.values() for word in spelt.split())
    assert not [one for one, other in pairwise(words) if one == other]
    for known, spelt in SPELT.items():
        for word in spelt.split():
            assert in_english(word.replace("-", " ")) == known


@pytest.mark.parametrize(
    ("name", "unit", "instrument"),
    [
        ("x [g]", "", "accelerometer"),
        ("x [G]", "", None),  # gauss is spelt so too
        ("x", "m/s^2", "accelerometer"),
        ("x [Grad/s]", "", "gyroscope"),
        ("x [µT]", "", "magnetometer"),
        ("x [deg]", "", None),
        ("x", "", None),
    ],
)
def test_a_unit_tells_the_instrument(name, unit, instrument):
    assert instrument_of_unit(name, unit) == instrument


def test_degrees_of_other_languages():
    assert {angle_unit(f"angle [{one}]") for one in ("Grad", "degrés", "grados", "°")} == {"deg"}
