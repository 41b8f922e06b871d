"""A study written as a Motion-BIDS data set reads back to the same results, digit for digit."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study, run_study
from twinangle.analysis import reading
from twinangle.errors import StudyError, TwinangleError
from twinangle.export import export_study
from twinangle.results import StudyResults
from twinangle.simulate import write_demo_study


@pytest.fixture(scope="module")
def study_folder(tmp_path_factory) -> Path:
    """Write a small invented study with one procedure and everything a study may name."""
    folder = tmp_path_factory.mktemp("export") / "study"
    write_demo_study(folder, participants=2, walk_s=14.0)
    shutil.rmtree(folder / "truth")
    replace_text(folder / "study.toml", '["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
    return folder


@pytest.fixture(scope="module")
def results(study_folder) -> StudyResults:
    return run_study(read_study(study_folder))


@pytest.fixture
def copy(study_folder, tmp_path) -> Path:
    return Path(shutil.copytree(study_folder, tmp_path / "study"))


def replace_text(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def edit_table(folder: Path, change) -> None:
    table = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    change(table).to_csv(folder / "trials.csv", index=False)


def numbers(folder: Path) -> dict:
    """Run a study and return its results without hashes, file names and the names of columns."""
    return bare(run_study(read_study(folder)))


def bare(results: StudyResults) -> dict:
    record = results.to_json()
    del record["provenance"]["inputs"]
    for section in ("wearable", "reference"):
        parameters = record["provenance"]["parameters"].get(section, {})
        for key in ("time", "rate_hz", "files", "calibration"):
            parameters.pop(key, None)
    record["provenance"]["parameters"]["cycles"].pop("overrides", None)
    text = json.dumps(record, sort_keys=True)
    names = r"[\w./-]+\.(csv|tsv)"
    return json.loads(re.sub(names, "FILE", text))


def digests(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def words(folder: Path) -> str:
    """Return every text in the data set but the samples, and every name."""
    files = [path for path in folder.rglob("*") if path.is_file()]
    texts = [path.read_text() for path in files if not path.name.endswith("_motion.tsv")]
    return "\n".join([*texts, *(path.relative_to(folder).as_posix() for path in files)])


@pytest.fixture(scope="module")
def exported(study_folder, tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("bids") / "set"
    export_study(read_study(study_folder), target)
    return target


def test_the_exported_study_gives_the_same_results_to_the_last_digit(results, exported):
    assert numbers(exported) == bare(results)


def test_the_same_study_gives_the_same_bytes(study_folder, exported, tmp_path):
    export_study(read_study(study_folder), tmp_path / "again", jobs=2)

    assert digests(tmp_path / "again") == digests(exported)


def test_an_exported_study_exports_to_itself(exported, tmp_path):
    export_study(read_study(exported), tmp_path / "again")

    assert digests(tmp_path / "again") == digests(exported)


def test_angles_and_cycles_are_those_of_the_run(results, exported):
    assert len(results.trials) == 4
    for trial in results.trials:
        assert trial.paired is not None
        assert trial.cycles is not None
        (motion,) = exported.glob(
            f"derivatives/twinangle/sub-{trial.participant}/ses-1/motion/"
            f"*task-{trial.condition}_*_desc-oneclock_motion.tsv"
        )
        names = pd.read_csv(str(motion).replace("motion.tsv", "channels.tsv"), sep="\t")["name"]
        angles = pd.read_csv(motion, sep="\t", header=None, names=list(names), na_values="n/a")
        np.testing.assert_array_equal(angles["wearable_kalman"], trial.paired.wearable_deg)
        np.testing.assert_array_equal(angles["time_s"], trial.paired.time_s)
        assert ("reference" in angles) == (trial.paired.reference_deg is not None)
        if trial.paired.reference_deg is not None:
            np.testing.assert_array_equal(angles["reference"], trial.paired.reference_deg)
        events = pd.read_csv(str(motion).replace("oneclock_motion", "cycles_events"), sep="\t")
        np.testing.assert_array_equal(events["start_s"], trial.cycles.start_s)
        np.testing.assert_array_equal(events["duration"], trial.cycles.duration_s)
        assert (events["kept"] == "yes").tolist() == trial.cycles.kept.tolist()
        assert events["reason"].fillna("").tolist() == list(trial.cycles.reason)


def test_starts_of_the_reference_are_the_lag_that_was_found(results, study_folder, exported):
    trial = results.trials[0]
    scans = pd.read_csv(exported / "sub-P01/ses-1/sub-P01_ses-1_scans.tsv", sep="\t")
    starts = pd.to_datetime(scans["acq_time"]).to_numpy()
    assert scans["filename"].str.contains("reference").tolist() == [False, True, False]
    assert trial.synchronisation is not None
    reference = read_study(study_folder).trials[0].reference
    assert reference is not None
    first_s = pd.read_csv(reference)["time_s"][0]
    expected = float(trial.synchronisation.to_wearable(np.array(first_s)))
    found = (starts[1] - starts[0]) / np.timedelta64(1, "us") * 1e-6
    assert found == pytest.approx(expected, abs=1e-6)
    assert pd.Timestamp(starts[2]).year < 1925  # the specification's sign of an invented date


def test_everything_a_study_names_travels_with_it(copy, tmp_path):
    """Counters, volts with a calibration, cycles by hand, events, gaps, an excluded trial."""
    for path in sorted((copy / "reference").glob("*.csv")):
        frame = pd.read_csv(path)
        frame["volts"] = (frame["knee_deg"] + 10) / 40
        frame.iloc[300:320, 1:] = np.nan
        frame.to_csv(path, index=False)
    wearable = copy / "wearable" / "P01_indoor.csv"
    frame = pd.read_csv(wearable).drop(index=range(3000, 3040))
    frame["time_s"] = (frame["time_s"] * 100).round().astype(int) + 12
    frame.rename(columns={"time_s": "count"}).to_csv(wearable, index=False)
    edit_table(copy, lambda table: table[table["condition"] == "indoor"])
    for person in ("P01", "P02"):
        times = np.arange(24.0, 37.0, 1.1)
        pd.DataFrame({"time_s": times, "note": "secret"}).to_csv(
            copy / f"{person}_events.csv", index=False
        )
    frame = pd.read_csv(copy / "wearable" / "P02_indoor.csv")
    frame["time_s"] = np.arange(len(frame))
    frame.rename(columns={"time_s": "count"}).to_csv(copy / "wearable/P02_indoor.csv", index=False)
    pd.DataFrame({"value": [0.25, 1.0, 1.75], "angle_deg": [0.1, 30.0, 59.9]}).to_csv(
        copy / "gonio.csv", index=False
    )
    (copy / "hand.csv").write_text(
        "participant,time_s,decision,reason,by\nP01,29.0,exclude,stumbled,somebody\n"
    )
    text = (copy / "study.toml").read_text()
    text = text.replace('time = "time_s"\ngyro', 'time = "count"\nrate_hz = 100.0\ngyro')
    head, _, tail = text.partition("[reference]")
    tail = tail[tail.index("[synchronisation]") :].replace(
        'method = "shank-gyroscope"', 'method = "events"\noverrides = "hand.csv"'
    )
    reference = (
        '[reference]\nkind = "angle"\ntime = "time_s"\nangle = "volts"\nunit = "V"\n'
        'calibration = "gonio.csv"\nfilter_hz = 8\n'
    )
    (copy / "study.toml").write_text(head + reference + tail)

    def change(table):
        extra = table.iloc[[0]].assign(trial="2", exclude="withdrew", wearable="gone.csv")
        table = table.assign(
            events=[f"{p}_events.csv" for p in table["participant"]], standing_deg=["3.5", ""]
        )
        return pd.concat([table, extra.assign(events="")]).drop(columns=["start_s", "end_s"])

    edit_table(copy, change)
    study = read_study(copy)

    export_study(study, tmp_path / "set")

    found, expected = numbers(tmp_path / "set"), numbers(copy)
    assert [trial["status"] for trial in expected["trials"]] == ["ok", "ok", "excluded"]
    assert any(
        c["reason"] == "stumbled" or "stumbled" in c["reason"]
        for c in expected["trials"][0]["cycles"]["excluded"]
    )
    assert found == expected
    every = words(tmp_path / "set")
    assert "secret" not in every
    assert "somebody" not in every
    assert "gone.csv" not in every
    assert not list((tmp_path / "set").rglob("*run-2*"))


def test_one_file_a_sensor_stays_one_file_a_sensor(copy, tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "clock_warnings", lambda pair: ())  # tested elsewhere, and slow
    edit_table(copy, lambda t: t[t["condition"] == "outdoor"].iloc[:1])
    frame = pd.read_csv(copy / "wearable" / "P01_outdoor.csv")
    for segment in ("thigh", "shank"):
        own = frame[["time_s", *(name for name in frame if name.startswith(segment))]]
        own = own.rename(columns=lambda name, segment=segment: name.removeprefix(f"{segment}_"))
        own[200:-50].to_csv(copy / f"P01_{segment}.csv", index=False)
        own[:800].to_csv(copy / f"stand_{segment}.csv", index=False)
    text = (copy / "study.toml").read_text().replace("thigh_", "").replace("shank_", "")
    text = text[: text.index("[reference]")] + text[text.index("[cycles]") :]
    files = '[wearable.files]\nproximal = "{wearable}_thigh.csv"\ndistal = "{wearable}_shank.csv"\n'
    (copy / "study.toml").write_text(text.replace("[cycles]", files + "[cycles]"))
    edit_table(
        copy,
        lambda t: t.assign(
            wearable="P01", static="stand", static_start_s="", static_end_s="", distal_lag_s="0"
        ).drop(columns="reference"),
    )

    export_study(read_study(copy), tmp_path / "set")

    found, expected = numbers(tmp_path / "set"), numbers(copy)
    assert expected["trials"][0]["status"] == "ok", expected["trials"][0]["reason"]
    assert found == expected


@pytest.mark.parametrize("participant", ["Anna Beispiel", "Beispiel", "1970-01-31"])
def test_names_and_dates_are_refused_or_become_codes(copy, tmp_path, participant):
    edit_table(
        copy,
        lambda t: t[t["condition"] == "outdoor"].assign(
            participant=lambda t: t["participant"].replace("P01", participant),
            date_of_birth="1970-01-31",
            visited="31.1.1970",
            shoe="trainers",
        ),
    )
    study = read_study(copy)
    with pytest.raises(StudyError, match="by code only") as caught:
        export_study(study, tmp_path / "set")
    assert participant in str(caught.value)
    assert not (tmp_path / "set").exists()
    assert not list(tmp_path.glob(".set*"))

    done = export_study(study, tmp_path / "set", recode=True)

    assert done.codes == {participant: "P01", "P02": "P02"}
    assert any("date_of_birth" in note for note in done.notes)
    assert any("visited" in note for note in done.notes)
    every = words(tmp_path / "set")
    for secret in (participant, "Anna", "1970-01", ".1970", "birth", "visited"):
        assert secret not in every
    people = pd.read_csv(tmp_path / "set" / "participants.tsv", sep="\t")
    assert people["participant_id"].tolist() == ["sub-P01", "sub-P02"]
    assert set(people["shoe"]) == {"trainers"}


def test_a_folder_with_anything_in_it_is_refused_and_left_alone(study_folder, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(StudyError, match="exists and is not empty"):
        export_study(read_study(study_folder), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
    with pytest.raises(StudyError, match="exists and is not empty"):
        export_study(read_study(study_folder), tmp_path / "mine.txt")


def test_a_recording_that_cannot_be_read_leaves_nothing_half_written(copy, tmp_path):
    (copy / "wearable" / "P02_outdoor.csv").write_text("")
    (tmp_path / "set").mkdir()  # an empty folder may be there

    with pytest.raises(TwinangleError, match=r"P02_outdoor\.csv: is empty"):
        export_study(read_study(copy), tmp_path / "set")

    assert list((tmp_path / "set").iterdir()) == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["set", "study"]


# The rules below are typed from the Brain Imaging Data Structure 1.9 and later: pages "Motion"
# (template, required columns and fields, keywords), "Data summary files", "Dataset description",
# "Common principles" (labels, dates, derivatives), "Task events", appendix "Entities" (order).
ENTITIES = ("sub", "ses", "task", "tracksys", "acq", "run", "desc")
COMPONENTS = {"x", "y", "z", "quat_x", "quat_y", "quat_z", "quat_w", "n/a"}
TYPES = {
    "ACCEL", "ANGACCEL", "GYRO", "JNTANG", "LATENCY", "MAGN", "MISC", "ORNT", "POS", "VEL",
}  # fmt: skip
DATE_TIME = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?Z?"


def table(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, sep="\t", dtype=str, keep_default_na=False)


def motion_files(root: Path) -> list[Path]:
    found = sorted(root.rglob("*_motion.tsv"))
    assert len(found) == 10  # 6 recordings, 4 sets of angles
    return found


def test_names_follow_the_template_in_the_order_of_the_entities(exported):
    for path in motion_files(exported):
        parts = path.name.split(".")[0].split("_")
        keys = [part.split("-")[0] for part in parts[:-1]]
        assert keys == [key for key in ENTITIES if key in keys]
        assert {"sub", "task", "tracksys"} <= set(keys)
        assert all(re.fullmatch(r"[a-z]+-[0-9a-zA-Z]+", part) for part in parts[:-1])
        assert re.fullmatch(r"[0-9]+", next(p for p in parts if p.startswith("run-"))[4:])
        assert path.parent.name == "motion"
        assert path.parent.parent.name == parts[1]
        assert path.parent.parent.parent.name == parts[0]
        raw = path.relative_to(exported).parts[0] != "derivatives"
        assert ("desc" in keys) != raw  # only what is derived has a description


def test_every_recording_has_its_channels_and_its_required_fields(exported):
    for path in motion_files(exported):
        stem = path.name.removesuffix("motion.tsv")
        channels = table(path.with_name(f"{stem}channels.tsv"))
        assert list(channels)[:5] == ["name", "component", "type", "tracked_point", "units"]
        assert channels["name"].is_unique
        assert set(channels["component"]) <= COMPONENTS
        assert set(channels["type"]) <= TYPES
        first, *rest = path.read_text().splitlines()
        assert not first.startswith(channels["name"][0])  # no header row
        assert {len(row.split("\t")) for row in (first, *rest)} == {len(channels)}
        latency = channels.index[channels["type"] == "LATENCY"]
        assert len(latency) == 1
        assert channels["units"][latency[0]] == "s"
        assert all(re.fullmatch(r"[0-9]+(\.[0-9]+)?", row.split("\t")[latency[0]]) for row in rest)
        metadata = json.loads(path.with_suffix(".json").read_text())
        assert metadata["SamplingFrequency"] > 0
        assert metadata["TaskName"]
        # The specification's check TRACKSYS_MISMATCH.
        assert f"_tracksys-{metadata['TrackingSystemName']}_" in path.name
        for kind, count in channels["type"].value_counts().items():
            assert metadata[f"{kind}ChannelCount"] == count
        assert metadata["MotionChannelCount"] == len(channels)


def test_each_frame_of_reference_is_described(exported):
    seen = set()
    for path in exported.rglob("*_channels.tsv"):
        frames = set(table(path)["reference_frame"]) - {"n/a"}
        seen |= frames
        described = path.with_suffix(".json")
        levels = json.loads(described.read_text())["reference_frame"]["Levels"] if frames else {}
        assert frames == set(levels)
    assert seen


def test_the_tables_of_the_data_set_follow_their_rules(exported):
    people = table(exported / "participants.tsv")
    assert next(iter(people)) == "participant_id"
    assert people["participant_id"].is_unique
    folders = {path.name for path in exported.iterdir() if path.name.startswith("sub-")}
    assert set(people["participant_id"]) == folders
    assert set(json.loads((exported / "participants.json").read_text())) == set(people)
    listed = set()
    for path in exported.rglob("*_scans.tsv"):
        scans = table(path)
        assert list(scans)[:2] == ["filename", "acq_time"]
        assert all(time == "n/a" or re.fullmatch(DATE_TIME, time) for time in scans["acq_time"])
        listed |= {path.parent / name for name in scans["filename"]}
    assert listed == {p for p in motion_files(exported) if "derivatives" not in p.parts}
    all_events = list(exported.rglob("*_events.tsv"))
    assert len(all_events) == 4  # one a trial
    for path in all_events:
        events = table(path)
        assert list(events)[:3] == ["onset", "duration", "trial_type"]
        assert set(json.loads(path.with_suffix(".json").read_text())) == set(events)
        assert events["onset"].astype(float).is_monotonic_increasing


def test_data_set_and_derivatives_are_described(exported):
    raw = json.loads((exported / "dataset_description.json").read_text())
    assert raw["Name"]
    assert re.fullmatch(r"[0-9]+\.[0-9]+\.[0-9]+", raw["BIDSVersion"])
    assert raw["DatasetType"] == "raw"
    (folder,) = (exported / "derivatives").iterdir()
    derived = json.loads((folder / "dataset_description.json").read_text())
    assert derived["DatasetType"] == "derivative"
    assert derived["GeneratedBy"][0]["Name"] in folder.name
    top = {path.name for path in exported.iterdir() if not path.name.startswith("sub-")}
    passed_over = set((exported / ".bidsignore").read_text().split())
    known = {
        "README.md", "dataset_description.json", "participants.tsv", "participants.json",
        "derivatives", "sourcedata", ".bidsignore",
    }  # fmt: skip
    assert top <= known | passed_over
