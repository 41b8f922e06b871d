"""What the session sheet says follows from the study's settings, recorded or not."""

import numpy as np
import pytest
from scipy import stats
from tests.protocol.conftest import DEVICE, GONIOMETER, MARKERS, QUATERNIONS, SENSORS, table

from twinangle.agreement import cycles_for_mean, cycles_for_sd
from twinangle.errors import StudyError
from twinangle.protocol import as_markdown, session_sheet

MARGIN = "\n[agreement]\nacceptable_deg = 5.0\n"


def words(folder, **chosen):
    return as_markdown(session_sheet(folder, **chosen))


def headings(text):
    return [
        line.split(". ", 1)[1]
        for line in text.splitlines()
        if line.startswith("## ") and ". " in line
    ]


def test_a_study_without_any_recording_has_a_sheet(planned):
    text = words(planned(SENSORS.format(more=""), GONIOMETER, MARGIN, trials=table()))
    assert "one sensor on the thigh (proximal, nearer the trunk), one on the shank (distal)" in text
    assert (
        "accelerometer ax1, ay1, az1; gyroscope gx1, gy1, gz1; magnetometer mx1, my1, mz1" in text
    )
    assert "imu/{participant}_s{session}_indoor.csv" in text
    assert "Without a reference: outdoor." in text
    assert "Participant code: ________" in text
    assert headings(text) == [
        "Before", "Placement", "Clocks", "Neutral standing", "Functional movement", "Walking",
        "Write down",
    ]  # fmt: skip


@pytest.mark.parametrize("trials", [None, "", "participant,wearable,reference,load_kg\n"])
def test_a_table_may_be_missing_or_hold_no_rows(planned, trials):
    sheet = session_sheet(planned(SENSORS.format(more=""), GONIOMETER, trials=trials))
    assert len(sheet.record.rows) == 6
    assert "no rows yet" in sheet.record.note
    assert sheet.record.covariates == (("load_kg",) if trials else ())


def test_one_session_has_its_code_and_its_own_file_names(planned):
    folder = planned(SENSORS.format(more=""), GONIOMETER, trials=table())
    text = words(folder, participant="P02", session="1")
    assert "Participant code: P02  Session: 1" in text
    assert "wearable: imu/P02_s1_indoor.csv; reference: gon/P02_s1_indoor.csv" in text
    assert "P01" not in text
    assert "place it anew by the same landmarks" in text
    alone = table(sessions="1")
    assert "place it anew" not in words(planned(DEVICE, GONIOMETER, trials=alone))
    with pytest.raises(StudyError, match=r"no row has the participant 'P09'; it has 'P01'"):
        words(folder, participant="P09")


def test_file_names_that_no_pattern_explains_are_left_to_be_written(planned):
    rows = "participant,wearable\nP01,a.csv\nP02,b.csv\n"
    sheet = session_sheet(planned(DEVICE, trials=rows))
    assert sheet.record.rows[0].files == ("wearable: file name to be written down",)


def test_times_that_are_planned_stand_in_the_table(planned):
    rows = "participant,wearable,static_start_s,static_end_s,start_s\nP01,a.csv,2,9,20\n"
    sheet = session_sheet(planned(SENSORS.format(more=""), trials=rows))
    assert sheet.record.times == ("Standing", "Functional", "Walk")
    assert sheet.record.rows[0].times == ("2 to 9 s", "", "20 to end")
    assert "Stand still for 7 s" in as_markdown(sheet)


def test_the_standing_asked_for_is_the_usual_one_and_a_persons_own_on_their_sheet(planned):
    rows = "participant,wearable,static_start_s,static_end_s\n"
    rows += "P01,a.csv,2,9\nP02,b.csv,1,8\nP03,c.csv,1,1.8\n"
    folder = planned(SENSORS.format(more=""), trials=rows)
    for whose, asked in ((None, "7 s"), ("P01", "7 s"), ("P03", "0.8 s")):
        text = as_markdown(session_sheet(folder, participant=whose))
        assert f"Stand still for {asked}," in text


def test_one_device_alone_is_told_what_cannot_be_known(planned):
    text = words(
        planned(DEVICE, trials=table(conditions=("outdoor",)).replace(",reference", ",note"))
    )
    assert "it computes the knee angle itself (column flex, deg)" in text
    assert "No reference is worn" in text
    assert "One instrument: no clocks to bring together." in text
    assert headings(text) == ["Before", "Placement", "Clocks", "Walking", "Write down"]
    assert "proximal" not in text
    assert "load the joint" not in text  # nothing is asked for that loads it
    assert "The margin" not in text


def test_an_elbow_exercises_and_markers_are_seen(planned):
    events = "\n[synchronisation]\nmethod = 'event'\n"
    text = words(planned(QUATERNIONS, MARKERS, events, joint="elbow"))
    for said in (
        "one sensor on the upper arm (proximal",
        "the arm hanging straight beside the body",
        "Proximal: SHO, ELB. Distal: ELB2, WRI.",
        "Gaps of a marker above 0.1 s stay gaps",
        "file {wearable}_forearm.csv",
        "start both sensors on one clock",
        "Heel taps (seated if need be)",
        "after recent surgery",
        "repetitions",
    ):
        assert said in text, said
    assert "Exercise" in headings(text)
    assert "stride" not in text
    assert "Outdoors: a safe route" not in text


@pytest.mark.parametrize(
    ("more", "said", "unsaid"),
    [
        (
            'procedures = ["kalman"]',
            "The heading is taken from the magnetic field",
            "No magnetometer",
        ),
        ('procedures = ["vqf-joint-centre"]', "No magnetometer is used", "magnetic field"),
        ("standing_deg = 4.0", "counts as 4° of flexion", "counts as 0°"),
        ("standing_from_reference = true", "is given the reference's angle", "counts as"),
    ],
)
def test_a_setting_of_the_wearable_changes_the_words(planned, more, said, unsaid):
    text = words(planned(SENSORS.format(more=more), GONIOMETER))
    assert said in text
    assert unsaid not in text


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ("max_lag_s = 12.5", "within 12.5 s of each other"),
        ("drift = false", "Found from the movement"),
        ("method = 'shared-clock'", "One clock runs both instruments"),
        ("method = 'manual'\nlag_s = 1.25", "states the lag: 1.25 s, drift 0 ppm"),
        ("method = 'trigger'\nwearable_trigger = 'a'\nreference_trigger = 'b'", "channels a and b"),
        ("method = 'event'\nevents_s = [[3, 7], [90, 94]]", "at 3 to 7 s; 90 to 94 s"),
    ],
)
def test_the_clocks_words_follow_the_method(planned, settings, said):
    text = words(planned(DEVICE, GONIOMETER, f"\n[synchronisation]\n{settings}\n"))
    assert said in text
    assert ("drift is settled" in text) == settings.startswith("max_lag_s")


def test_cycles_asked_for_are_those_of_the_statistics(planned):
    level = "\n[agreement]\nacceptable_deg = 2.0\nconfidence = 0.9\n"
    text = words(planned(DEVICE, GONIOMETER, level))
    assert f"At least {cycles_for_sd(0.2, confidence=0.9).n} strides" in text
    sizes = [cycles_for_mean(0.4, sd=sd, confidence=0.9).n for sd in (1, 2, 3)]
    assert "within ± 0.4° (90 %), a fifth of it" in text
    assert f"{sizes[0]} for 1°, {sizes[1]} for 2° and {sizes[2]} for 3°" in text


@pytest.mark.parametrize(("precision", "sd", "level"), [(1, 2, 0.95), (0.4, 1, 0.9), (3, 1, 0.99)])
def test_cycles_for_a_mean_give_the_interval_of_scipy(precision, sd, level):
    # scipy's interval of a mean, on values whose SD is exactly the one stated
    def half(n):
        values = np.arange(n, dtype=float)
        values = (values - values.mean()) / values.std(ddof=1) * sd
        ends = stats.ttest_1samp(values, 0).confidence_interval(level)
        return (ends.high - ends.low) / 2

    n = cycles_for_mean(precision, sd=sd, confidence=level).n
    assert half(n) <= precision
    assert n == 2 or half(n - 1) > precision


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ('procedures = ["kalmann"]', "kalmann"),
        ("standing_degrees = 3", "standing_degrees"),
        ("axis_method = 'guess'", "axis_method"),
    ],
)
def test_a_bad_setting_is_named_as_ever(planned, part, said):
    with pytest.raises(StudyError, match=said):
        session_sheet(planned(SENSORS.format(more=part), GONIOMETER, trials=table()))


def test_what_a_planned_table_holds_is_checked(planned):
    rows = "participant,side,wearable,static_start_s,static_end_s\nP01,lft,a.csv,9,2\n"
    with pytest.raises(StudyError, match="static_end_s") as told:
        session_sheet(planned(SENSORS.format(more=""), trials=rows))
    assert "side" in str(told.value)


def test_a_file_named_by_its_whole_path_is_told_from_the_folder(planned, tmp_path, monkeypatch):
    folder = planned(DEVICE, trials=f"participant,wearable\nP01,{tmp_path / 'study/in/a.csv'}\n")
    monkeypatch.chdir(tmp_path)
    assert session_sheet("study").record.rows[0].files == ("wearable: in/a.csv",)
    (folder / "trials.csv").unlink()
    (folder / "trials.csv").mkdir()
    with pytest.raises(StudyError, match=r"trials\.csv: cannot be read"):
        session_sheet("study")


def test_functions_that_the_study_names_are_not_run(planned, tmp_path, monkeypatch):
    (tmp_path / "spiteful.py").write_text("raise SystemExit('run')")
    monkeypatch.syspath_prepend(str(tmp_path))
    assert session_sheet(planned(SENSORS.format(more='procedures = ["spiteful:angle"]')))


def test_names_with_markup_and_bars_stay_words(planned):
    rows = "participant,condition,wearable\nP01,#strong[x] | $y$,a.csv\n"
    text = words(planned(DEVICE, trials=rows))
    assert "#strong[x] \\| $y$" in text


SEVERAL = (
    SENSORS.format(more="").replace("[wearable", "[wearables.strap")
    + "\n[wearables.sleeve]\nkind = 'angle'\ntime = 't'\nangle = 'flex'\n"
    + GONIOMETER.replace("[reference]", "[references.gonio]")
    + MARKERS.replace("[reference", "[references.cameras")
)
SEVERAL_ROWS = (
    "participant,condition,side,wearable_strap,wearable_sleeve,reference_gonio,reference_cameras,"
    "static_start_s,static_end_s,shoes\n"
    "P01,indoor,right,a/strap.csv,a/sleeve.csv,a/gonio.csv,a/cameras.csv,1,8,\n"
    "P01,outdoor,right,b/strap.csv,b/sleeve.csv,b/gonio.csv,,2,9,\n"
)


def test_a_sheet_of_several_instruments_covers_them_all(planned):
    sheet = session_sheet(planned(SEVERAL, trials=SEVERAL_ROWS))
    text = as_markdown(sheet)
    for said in (
        "two inertial sensors (strap) and a device that computes the angle itself (sleeve)",
        "against a goniometer or a ready angle (gonio) and optical markers (cameras)",
        "Wearable strap: one sensor on the thigh",
        "Wearable sleeve: it computes the knee angle itself (column flex",
        "Reference gonio: a goniometer or the like",
        "Reference cameras: optical markers",
        "4 instruments record at once: strap, sleeve, gonio and cameras.",
        "Start all recordings within 30 s of each other",
        "strap: Stand still for 7 s",
        "strap: Move the knee into flexion",
        "All instruments record it",
        "Without cameras: outdoor.",
        "wearable strap: a/strap.csv; wearable sleeve: a/sleeve.csv; reference gonio: a/gonio.csv",
        "; reference cameras: a/cameras.csv",
    ):
        assert said in text, said
    # What an instrument's file is called is no value to be filled in.
    assert sheet.record.covariates == ("shoes",)
    assert len([each for each in sheet.inputs if each.name == "cameras.csv"]) == 1


def test_instruments_with_clocks_of_their_own_are_told_apart(planned):
    own = SEVERAL.replace(
        "[references.cameras]", "[references.cameras.synchronisation]\nmethod = 'shared-clock'\n\n"
        "[references.cameras]",
    )  # fmt: skip
    text = words(planned(own, trials=SEVERAL_ROWS))
    assert "strap with gonio and sleeve with gonio: Found from the movement." in text
    assert "strap with cameras and sleeve with cameras: One clock runs all" in text


def test_one_wearable_with_a_name_has_no_column_to_fill_in(planned):
    alone = SENSORS.format(more="").replace("[wearable", "[wearables.strap") + GONIOMETER
    rows = "participant,wearable_strap,reference,shoes\nP01,a.csv,b.csv,\n"
    sheet = session_sheet(planned(alone, trials=rows))
    assert sheet.record.covariates == ("shoes",)
    assert "wearable: a.csv; reference: b.csv" in as_markdown(sheet)


def test_wearables_without_any_reference_are_clocked_between_them(planned):
    two = "".join(DEVICE.replace("[wearable]", f"[wearables.{name}]") for name in ("one", "two"))
    rows = "participant,wearable_one,wearable_two\nP01,a.csv,b.csv\n"
    text = words(planned(two, trials=rows))
    assert "Found from the movement. Start all recordings" in text
    assert "One instrument" not in text
