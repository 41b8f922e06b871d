"""Motion-BIDS by the rules of its specification: sidecars, clocks, missing values, faults.

Rules typed from the specification's pages "Common principles" (inheritance, `n/a`), "Data summary
files" (scans.tsv) and "Motion" (BIDS 1.9 and later); Jeung et al. 2024, Sci Data 11, 716.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_array_equal

from twinangle.errors import RecordingError, TwinangleError
from twinangle.formats import describe_file, read_event_times, read_recording

RNG = np.random.default_rng(4)
VALUES = RNG.normal(size=(50, 3))
CHANNELS = pd.DataFrame(
    {
        "name": ["a_x", "a_y", "a_z"],
        "component": ["x", "y", "z"],
        "type": "ACCEL",
        "tracked_point": "LeftShank",
        "units": "m/s^2",
    }
)


def write(
    root: Path, system: str, *, values=VALUES, channels=CHANNELS, metadata=None, task="walk"
) -> Path:
    """Write one recording of a session with pandas and json; return its table."""
    folder = root / "sub-01" / "ses-a" / "motion"
    folder.mkdir(parents=True, exist_ok=True)
    (root / "dataset_description.json").write_text('{"Name": "x", "BIDSVersion": "1.9.0"}')
    stem = folder / f"sub-01_ses-a_task-{task}_tracksys-{system}"
    frame = pd.DataFrame(values)
    frame.to_csv(f"{stem}_motion.tsv", sep="\t", index=False, header=False, na_rep="n/a")
    channels.to_csv(f"{stem}_channels.tsv", sep="\t", index=False, na_rep="n/a")
    if metadata is None:
        metadata = {"SamplingFrequency": 50, "TaskName": task}
    Path(f"{stem}_motion.json").write_text(json.dumps(metadata))
    return Path(f"{stem}_motion.tsv")


def write_scans(root: Path, starts: dict[str, str]) -> None:
    rows = [(f"motion/sub-01_ses-a_{name}_motion.tsv", time) for name, time in starts.items()]
    pd.DataFrame(rows, columns=["filename", "acq_time"]).to_csv(
        root / "sub-01" / "ses-a" / "sub-01_ses-a_scans.tsv", sep="\t", index=False
    )


def test_systems_recorded_together_share_one_clock_by_their_acquisition_times(tmp_path):
    imu, optical = write(tmp_path, "imu"), write(tmp_path, "optical")
    stand = write(tmp_path, "imu", task="stand")
    write_scans(
        tmp_path,
        {
            "task-stand_tracksys-imu": "2001-05-01T09:00:00",
            "task-walk_tracksys-imu": "2001-05-01T10:00:00.25",
            "task-walk_tracksys-optical": "2001-05-01T10:00:00.000000",
        },
    )

    assert read_recording(imu).time_s[0] == 0.25
    assert read_recording(optical).time_s[0] == 0
    assert read_recording(stand).time_s[0] == 0  # another recording, whatever the hour
    assert "starts 0.25 s after the first recording made with it" in read_recording(imu).notes[0]


@pytest.mark.parametrize("time", ["n/a", "", "yesterday"])
def test_an_unknown_start_is_the_recordings_own_first_sample(tmp_path, time):
    path = write(tmp_path, "imu")
    write_scans(tmp_path, {"task-walk_tracksys-imu": time, "task-walk_tracksys-b": "2001-05-01"})

    assert read_recording(path).time_s[0] == 0


def test_a_nearer_sidecar_overrides_a_farther_one_key_by_key(tmp_path):
    path = write(tmp_path, "imu", metadata={"SamplingFrequency": 64})
    (tmp_path / "task-walk_motion.json").write_text(
        '{"SamplingFrequency": 10, "MissingValues": "-9"}'
    )
    (tmp_path / "task-run_motion.json").write_text('{"SamplingFrequency": 1}')  # not its task
    frame = pd.read_csv(path, sep="\t", header=None)
    frame.iloc[3, 1] = -9
    frame.to_csv(path, sep="\t", header=False, index=False)

    recording = read_recording(path)

    assert recording.time_s[1] == 1 / 64
    assert np.isnan(recording.columns(recording.channels)).sum() == 1
    assert np.isnan(recording.columns(["a_y"])[3, 0])
    assert "1 value(s) of -9 are gaps by the file's `MissingValues`" in recording.notes[0]


def test_missing_values_are_gaps(tmp_path):
    values = VALUES.copy()
    values[4:9] = np.nan

    assert_array_equal(read_recording(write(tmp_path, "imu", values=values)).values, values)


def test_uneven_samples_are_read_by_their_latencies(tmp_path):
    latency = np.delete(np.arange(52) / 50, [7, 8])
    row = {"name": "late", "component": None, "type": "latency", "units": "s"}
    channels = pd.concat([CHANNELS, pd.DataFrame([row])])
    path = write(
        tmp_path, "imu", values=np.column_stack([VALUES, latency]), channels=channels, metadata={}
    )

    assert_array_equal(read_recording(path).time_s, latency)
    assert_array_equal(read_recording(path, rate_hz=10).time_s, np.arange(50) / 10)


def test_a_latency_in_another_unit_is_refused(tmp_path):
    channels = CHANNELS.assign(type=["ACCEL", "ACCEL", "LATENCY"], units=["g", "g", "ms"])

    with pytest.raises(RecordingError, match="LATENCY channel 'a_z' is in 'ms'"):
        read_recording(write(tmp_path, "imu", channels=channels))


def test_a_rate_of_na_is_taken_from_the_channels(tmp_path):
    channels = CHANNELS.assign(sampling_frequency=[50, 50, 25])
    path = write(tmp_path, "imu", channels=channels, metadata={"SamplingFrequency": "n/a"})

    assert read_recording(path, columns=["a_x", "a_y"]).time_s[1] == 0.02
    with pytest.raises(RecordingError, match="channel 'a_z' is 25 Hz where 50 Hz holds"):
        read_recording(path)


def test_what_the_data_set_says_of_a_channel_is_told(tmp_path):
    channels = CHANNELS.assign(
        status=["good", "bad", "n/a"], status_description=["", "came loose", ""]
    )
    path = write(tmp_path, "imu", channels=channels)

    assert read_recording(path, columns=["a_x"]).notes == ()
    assert "channel 'a_y' is marked bad in the data set (came loose)" in str(describe_file(path))
    assert describe_file(path).channels[0].role == "LeftShank ACCEL x"


def test_events_beside_a_recording_are_its_own(tmp_path):
    path = write(tmp_path, "imu")
    write(tmp_path, "optical")
    write_scans(
        tmp_path,
        {
            "task-walk_tracksys-imu": "2001-05-01T10:00:00.5",
            "task-walk_tracksys-optical": "2001-05-01T10:00:00",
        },
    )
    # An events file without a tracking system is for all of them (inheritance).
    events = path.with_name("sub-01_ses-a_task-walk_events.tsv")
    events.write_text("onset\tduration\ttrial_type\n0.25\t0\tstep\n0.1\t0\tturn\n0.75\tn/a\tstep\n")
    path.with_name("sub-01_ses-a_task-run_events.tsv").write_text("onset\tduration\n9\t0\n")

    assert_array_equal(read_event_times(path, label="step"), [0.75, 1.25])
    assert [event.label for event in describe_file(path).events] == ["turn", "step", "step"]
    with pytest.raises(RecordingError, match="marks the events 'turn' and 'step'; one kind"):
        read_event_times(path)

    events.write_text("onset\tduration\n0.25\t0\nn/a\t0\n")
    with pytest.raises(RecordingError, match=r"events\.tsv, row 3, column 'onset': is 'n/a'"):
        read_event_times(path)
    events.unlink()
    with pytest.raises(RecordingError, match="marks no events"):
        read_event_times(path)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        (
            "channels.tsv",
            "name\ttype\na\tACCEL\n",
            r"row 1: has 3 column\(s\) where .* names 1",
        ),
        ("channels.tsv", "label\nx\n", "must name every channel in a column 'name'"),
        ("motion.json", "[]", "motion.json holds no JSON object"),
        ("motion.json", "{", "motion.json cannot be read"),
    ],
)
def test_faulty_sidecars_are_named(tmp_path, name, content, message):
    path = write(tmp_path, "imu")
    path.with_name(path.name.replace("motion.tsv", name)).write_text(content)

    with pytest.raises(RecordingError, match=message) as caught:
        read_recording(path, source="walk")
    assert str(caught.value).startswith("walk")


@pytest.mark.parametrize("ending", ["channels.tsv", "motion.json", "scans.tsv", "events.tsv"])
def test_mutated_sidecars_end_in_a_recording_or_a_message_that_names_the_file(tmp_path, ending):
    rng = np.random.default_rng(17)
    path = write(tmp_path, "imu", metadata={"SamplingFrequency": 50, "MissingValues": "n/a"})
    write_scans(tmp_path, {"task-walk_tracksys-imu": "2001-05-01T10:00:00.25"})
    path.with_name("sub-01_ses-a_task-walk_events.tsv").write_text(
        "onset\tduration\ttrial_type\n0.25\t0\tstep\n0.75\tn/a\tstep\n"
    )
    (sidecar,) = (tmp_path / "sub-01").rglob(f"*{ending}")
    clean = sidecar.read_bytes()
    messages = []
    for _ in range(120):
        mutant = bytearray(clean)
        for at in rng.integers(0, len(mutant), rng.integers(1, 6)):
            mutant[at] = rng.integers(0, 256)
        cut = len(mutant) if rng.random() < 0.7 else int(rng.integers(0, len(mutant)))
        sidecar.write_bytes(bytes(mutant[:cut]))
        try:
            recording = read_recording(path, source="walk")
            read_event_times(path)
        except TwinangleError as error:
            messages.append(str(error))
        else:
            assert np.isfinite(recording.time_s).all()
    assert all("walk" in message for message in messages)
    assert messages or ending == "scans.tsv"  # a start that cannot be read is none
