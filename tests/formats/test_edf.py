"""EDF, EDF+ and BDF: written with two independent libraries, read back to the last bit."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from twinangle.errors import RecordingError
from twinangle.formats import FORMATS, describe_file, read_recording

edfio = pytest.importorskip("edfio", reason="the library edfio is absent")

RNG = np.random.default_rng(5)
KNEE = 30 + 30 * np.sin(np.arange(1000) / 30)  # 100 Hz, 10 s
ACC = RNG.normal(0, 5, (2, 2000))  # 200 Hz
NAME = "Planted_Person"


def write(path: Path, *, wide: bool = False, annotations=None) -> edfio.Edf | edfio.Bdf:
    """Write 10 s of an angle at 100 Hz and two accelerations at 200 Hz with edfio."""
    signal = edfio.BdfSignal if wide else edfio.EdfSignal
    limits = {"physical_range": (-200, 200)}
    written = (edfio.Bdf if wide else edfio.Edf)(
        [
            signal(KNEE, 100, label="knee", physical_dimension="deg", **limits),
            signal(ACC[0], 200, label="acc_x", physical_dimension="m/s^2", **limits),
            signal(ACC[1], 200, label="acc_y", physical_dimension="m/s^2", **limits),
        ],
        patient=edfio.Patient(code="MCH-0234567", name=NAME),
        recording=edfio.Recording(
            hospital_administration_code=NAME, investigator_technician_code=NAME
        ),
        starttime=dt.time(10, 0, 2),
        data_record_duration=1,
        annotations=annotations,
    )
    written.write(path)
    return written


def events_of(path: Path) -> list[tuple[float, str]]:
    form = next(each for each in FORMATS if each.name == "EDF")
    return [(event.time_s, event.label) for event in form.read_events(path, path.name)]


@pytest.mark.parametrize(("name", "wide"), [("walk.edf", False), ("walk.bdf", True)])
def test_signals_of_either_rate_equal_the_writer_s_own_reading(tmp_path, name, wide):
    written = write(tmp_path / name, wide=wide)

    knee = read_recording(tmp_path / name, columns=["knee"])
    acc = read_recording(tmp_path / name, columns=["acc_y", "acc_x"])

    assert_array_equal(knee.values[:, 0], written.get_signal("knee").data)
    assert_array_equal(acc.values[:, 0], written.get_signal("acc_y").data)
    assert_array_equal(acc.values[:, 1], written.get_signal("acc_x").data)
    assert_array_equal(knee.time_s, np.arange(1000) / 100)
    assert_array_equal(acc.time_s, np.arange(2000) / 200)
    assert (knee.units, acc.units) == (("deg",), ("m/s^2",) * 2)
    # and what was meant, within half of one of the format's steps
    assert_allclose(knee.values[:, 0], KNEE, atol=0.51 * 400 / 2 ** (24 if wide else 16))


@pytest.mark.parametrize("kind", ["EDF", "EDF+", "BDF", "BDF+"])
def test_a_second_library_s_files_are_read_to_the_last_bit(tmp_path, kind):
    pyedflib = pytest.importorskip("pyedflib", reason="the library pyEDFlib is absent")
    types = {"EDF": 0, "EDF+": 1, "BDF": 2, "BDF+": 3}
    path = tmp_path / f"walk.{kind[:3].lower()}"
    bits = 23 if kind.startswith("BDF") else 15
    with pyedflib.EdfWriter(str(path), 2, types[kind]) as writer:
        for k, (label, rate) in enumerate((("knee", 50), ("gyr", 125))):
            writer.setSignalHeader(
                k,
                {
                    "label": label,
                    "dimension": "deg",
                    "sample_frequency": rate,
                    "physical_min": -180,
                    "physical_max": 180.5,
                    "digital_min": -(2**bits),
                    "digital_max": 2**bits - 1,
                    "prefilter": "",
                    "transducer": "",
                },
            )
        writer.setPatientName(NAME)
        writer.writeSamples([RNG.normal(0, 50, 50 * 8), RNG.normal(0, 50, 125 * 8)])
        if kind.endswith("+"):
            writer.writeAnnotation(1.25, -1, "heel strike")

    with pyedflib.EdfReader(str(path)) as reader:
        expected = [reader.readSignal(k) for k in range(2)]
        digital = [reader.readSignal(k, digital=True) for k in range(2)]

    for k, (label, rate) in enumerate((("knee", 50), ("gyr", 125))):
        found = read_recording(path, columns=[label])
        assert_array_equal(found.values[:, 0], expected[k])
        assert_array_equal(found.time_s, np.arange(8 * rate) / rate)
        gain = 360.5 / (2 ** (bits + 1) - 1)
        assert_array_equal(np.round((found.values[:, 0] + 180) / gain) - 2**bits, digital[k])
    assert events_of(path) == ([(1.25, "heel strike")] if kind.endswith("+") else [])


def test_annotations_and_a_start_between_seconds_are_kept(tmp_path):
    path = tmp_path / "walk.edf"
    notes = [edfio.EdfAnnotation(3.5, None, "heel strike"), edfio.EdfAnnotation(1, 2, "turn µ")]
    signal = edfio.EdfSignal(KNEE, 100, label="knee", physical_range=(-200, 200))
    start = dt.time(10, 0, 2, 250_000)
    edfio.Edf([signal], starttime=start, annotations=notes, data_record_duration=2).write(path)

    recording = read_recording(path)

    assert_allclose(recording.time_s, 0.25 + np.arange(1000) / 100, rtol=0, atol=1e-12)
    assert events_of(path) == [(1.25, "turn µ"), (3.75, "heel strike")]


def with_breaks(path: Path, onsets: list[float]) -> None:
    """Make an EDF+C file of as many records an EDF+D file with these onsets."""
    write(path, annotations=[edfio.EdfAnnotation(0, None, "room for longer onsets")])
    data = path.read_bytes()
    assert data.count(b"EDF+C") == 1
    data = data.replace(b"EDF+C", b"EDF+D")
    for record, onset in reversed(list(enumerate(onsets))):
        old, new = f"+{record}\x14\x14".encode(), f"+{onset:g}\x14\x14".encode()
        at = data.rindex(old)
        data = data[:at] + new.ljust(10, b"\0") + data[at + 10 :]
    path.write_bytes(data)


def test_breaks_of_a_discontinuous_recording_stay_gaps(tmp_path):
    onsets = [0, 1, 2, 3, 7.5, 8.5, 9.5, 10.5, 20, 21]
    with_breaks(tmp_path / "walk.edf", onsets)

    recording = read_recording(tmp_path / "walk.edf", columns=["knee"])

    expected = (np.array(onsets)[:, None] + np.arange(100) / 100).ravel()
    assert_allclose(recording.time_s, expected, rtol=0, atol=1e-12)
    assert recording.channels == ("knee",)
    found = describe_file(tmp_path / "walk.edf")
    assert [round(at, 6) for at, _ in found.gaps_s] == [3.995, 11.495]
    with pytest.raises(RecordingError, match=r"walk\.edf: has breaks.*leave `rate_hz` out"):
        read_recording(tmp_path / "walk.edf", columns=["knee"], rate_hz=100)


def test_a_discontinuous_recording_without_a_break_is_even(tmp_path):
    with_breaks(tmp_path / "walk.edf", [float(k) for k in range(10)])

    recording = read_recording(tmp_path / "walk.edf", columns=["knee"], rate_hz=100)

    assert_array_equal(recording.time_s, np.arange(1000) / 100)


def test_records_that_go_back_in_time_are_refused(tmp_path):
    with_breaks(tmp_path / "walk.edf", [0, 1, 2, 3, 4, 5, 2, 3, 4, 5])

    with pytest.raises(RecordingError, match=r"sample 601 \(data record 7\).*time goes back"):
        read_recording(tmp_path / "walk.edf", columns=["knee"])


def test_channels_of_two_rates_at_once_are_refused(tmp_path):
    write(tmp_path / "walk.edf")

    with pytest.raises(RecordingError, match=r"'knee' at 100 Hz.*'acc_x' at 200 Hz|'acc_x' at 200"):
        read_recording(tmp_path / "walk.edf", columns=["knee", "acc_x"])


def test_without_names_the_rate_most_signals_have_is_read_and_the_rest_is_told(tmp_path):
    write(tmp_path / "walk.edf")

    recording = read_recording(tmp_path / "walk.edf")

    assert recording.channels == ("acc_x", "acc_y")
    assert "1 signal(s) at 100 Hz: read only when named" in recording.notes[0]


@pytest.mark.parametrize(("rate", "fits"), [(100.0, True), (128.0, False)])
def test_a_declared_rate_must_be_the_file_s(tmp_path, rate, fits):
    write(tmp_path / "walk.edf")

    if fits:
        assert read_recording(tmp_path / "walk.edf", columns=["knee"], rate_hz=rate)
        return
    with pytest.raises(RecordingError, match="declares 100 Hz itself, not 128 Hz"):
        read_recording(tmp_path / "walk.edf", columns=["knee"], rate_hz=rate)


def test_a_description_lists_every_rate_and_the_annotations(tmp_path):
    write(tmp_path / "walk.edf", annotations=[edfio.EdfAnnotation(k, None, "hs") for k in (1, 4)])

    found = describe_file(tmp_path / "walk.edf")

    assert [(c.name, c.rate_hz) for c in found.channels] == [
        ("acc_x", None),
        ("acc_y", None),
        ("knee", 100),
    ]
    assert (found.rate_hz, found.n_samples, found.duration_s) == (200, 2000, 10)
    assert found.began == dt.datetime(1985, 1, 1, 10, 0, 2)  # the library's date for nobody's
    rows = str(found).splitlines()
    assert "began     1985-01-01 10:00:02" in rows
    assert "hs: 2, 1 to 4 s" in rows
    assert "time      its own clock, no column" in rows
    assert any(row.startswith("knee") and row.endswith(" 100") for row in rows)


def test_its_own_clock_can_be_asked_for_by_name(tmp_path):
    write(tmp_path / "walk.edf")

    recording = read_recording(tmp_path / "walk.edf", columns=["knee"], time="time_s")

    assert_array_equal(recording.time_s, np.arange(1000) / 100)
    with pytest.raises(RecordingError, match="no channel 't'; it carries its own clock: leave"):
        read_recording(tmp_path / "walk.edf", columns=["knee"], time="t")
    with pytest.raises(RecordingError, match="no channel 't'; it carries its own clock: leave"):
        read_recording(tmp_path / "walk.edf", time="t")
    with pytest.raises(RecordingError, match="is in seconds and counts no samples"):
        read_recording(tmp_path / "walk.edf", columns=["knee"], time="time_s", rate_hz=100)


@given(
    low=st.integers(-9000, 8999),
    span=st.integers(1, 900),
    digital=st.sampled_from([(-32768, 32767), (-2048, 2047), (0, 255), (-1, 5)]),
    record_s=st.sampled_from([0.1, 0.25, 1, 4]),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=40, deadline=None)
def test_any_range_is_scaled_as_the_library_scales_it(
    tmp_path_factory, low, span, digital, record_s, seed
):
    values = low + span * np.random.default_rng(seed).random(800)
    signal = edfio.EdfSignal(
        values, 100, label="a", physical_range=(low, low + span), digital_range=digital
    )
    path = tmp_path_factory.mktemp("any") / "walk.edf"
    edfio.Edf([signal], data_record_duration=record_s).write(path)

    recording = read_recording(path)

    assert_array_equal(recording.columns(["a"])[:, 0], signal.data)
    assert_array_equal(recording.time_s, np.arange(800) / 100)


def test_a_channel_of_counts_may_be_the_clock(tmp_path):
    count = edfio.EdfSignal(np.arange(1000.0), 100, label="count", physical_range=(-32768, 32767))
    knee = edfio.EdfSignal(KNEE, 100, label="knee", physical_range=(-200, 200))
    more = [
        edfio.EdfSignal(acc, 200, label=f"a{k}", physical_range=(-90, 90))
        for k, acc in enumerate((*ACC, ACC[0]))
    ]
    edfio.Edf([count, knee, *more], data_record_duration=1).write(tmp_path / "walk.edf")

    recording = read_recording(tmp_path / "walk.edf", time="count", rate_hz=50)

    assert recording.channels == ("knee",)
    assert_array_equal(recording.time_s, np.arange(1000) / 50)


def test_equal_labels_are_numbered_and_neither_has_the_bare_name(tmp_path):
    signals = [
        edfio.EdfSignal(KNEE + k, 100, label="knee", physical_range=(-200, 200)) for k in range(2)
    ]
    edfio.Edf(signals, data_record_duration=1).write(tmp_path / "walk.edf")

    recording = read_recording(tmp_path / "walk.edf")

    assert recording.channels == ("knee#1", "knee#2")
    hint = "labels that occur more than once are numbered, as 'knee#1' and 'knee#2': 'knee'"
    assert recording.notes == (f"{recording.source}: {hint}",)
    assert_allclose(np.diff(recording.values, axis=1), 1, atol=0.01)
    with pytest.raises(
        RecordingError, match="has no column 'knee'; it holds 'knee#2' and 'knee#1'"
    ):
        read_recording(tmp_path / "walk.edf", columns=["knee"])


def test_a_recording_that_was_never_closed_is_read_to_its_last_whole_record(tmp_path):
    path = tmp_path / "walk.edf"
    write(path)
    data = bytearray(path.read_bytes())
    data[236:244] = b"-1      "
    path.write_bytes(bytes(data[:-30]))

    recording = read_recording(path, columns=["knee"])

    assert len(recording.time_s) == 900
    assert "not closed by the logger; its 9 whole data records are read" in recording.notes[0]


@pytest.mark.parametrize(
    ("at", "field", "message"),
    [
        (0, b"X       ", "does not begin as an EDF or BDF file"),
        (184, b"99999   ", "its number of bytes in the header is '99999'"),
        (184, b"512     ", "header of 3 signals claims 512 bytes"),
        (236, b"90000000", "claims 90000000 data records where 10 are stored"),
        (236, b"many    ", "its number of data records is 'many'"),
        (244, b"0       ", "the duration of its data records is 0"),
        (244, b"1e9     ", "the duration of its data records is '1e9'"),
        (252, b"0   ", "its number of signals is '0'"),
        (252, b"9999", "its number of signals is '9999'"),
        (256 + 3 * (16 + 80 + 8), b"abc     ", "physical minimum of 'knee' is 'abc'"),
        (256 + 3 * (16 + 80 + 8), b"200     ", "the range of its signal 'knee'"),
        (256 + 3 * (16 + 80 + 24), b"-99999  ", "digital minimum of 'knee' is '-99999'"),
        (256 + 3 * (16 + 80 + 24), b"32767   ", "the range of its signal 'knee'"),
        (256 + 3 * (16 + 80 + 40 + 80), b"99999999", "claims 10 data records where 0"),
    ],
)
def test_a_faulty_header_is_told_with_the_file_and_the_field(tmp_path, at, field, message):
    path = tmp_path / "walk.edf"
    write(path)
    data = bytearray(path.read_bytes())
    data[at : at + len(field)] = field
    path.write_bytes(bytes(data))

    with pytest.raises(RecordingError, match=message) as caught:
        read_recording(path, columns=["knee"])
    assert str(path) in str(caught.value)


def test_a_range_beyond_all_numbers_is_told(tmp_path):
    path = tmp_path / "walk.edf"
    write(path)
    data = bytearray(path.read_bytes())
    at = 256 + 3 * (16 + 80 + 8)
    data[at : at + 8] = b"-1e308  "
    data[at + 24 : at + 32] = b"1e308   "
    path.write_bytes(bytes(data))

    with pytest.raises(RecordingError, match="the range of its signal 'knee' is"):
        read_recording(path, columns=["knee"])


def test_a_header_cut_short_is_told(tmp_path):
    write(tmp_path / "walk.edf")
    (tmp_path / "cut.edf").write_bytes((tmp_path / "walk.edf").read_bytes()[:600])

    with pytest.raises(RecordingError, match=r"cut\.edf: is not a readable EDF or BDF file"):
        read_recording(tmp_path / "cut.edf")


def test_the_patient_is_named_nowhere(tmp_path):
    path = tmp_path / "walk.edf"
    write(path, annotations=[])
    assert path.read_bytes().count(NAME.encode()) == 3

    recording = read_recording(path, columns=["knee"])

    assert NAME not in repr(recording)
    assert NAME not in str(describe_file(path))
    assert NAME not in repr(describe_file(path))
