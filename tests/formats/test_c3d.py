"""C3D: bytes laid out by hand from the published format, and files of the library ezc3d."""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from twinangle.errors import RecordingError
from twinangle.formats import FORMATS, describe_file, read_event_times, read_recording
from twinangle.formats.c3d_parameters import floats

ezc3d = pytest.importorskip("ezc3d", reason="the library ezc3d is absent")

DATA = Path(__file__).resolve().parents[2] / "reference_data/walking_markers"
RNG = np.random.default_rng(11)
POINTS = RNG.normal(0, 800, (40, 3, 3)).astype(np.float32).astype(float)
POINTS[5:9, 1] = np.nan
POINTS[0, 2] = np.nan
STORED = RNG.integers(-2000, 2000, (160, 2)).astype(float)
LABELS = ("knee", "ankle", "thigh")
ANALOGUE = {
    "LABELS": ["gonio", "trigger"],
    "UNITS": ["V", "V"],
    "SCALE": np.array([0.005, 0.01], np.float32),
    "OFFSET": np.array([100, -7], np.int16),
    "GEN_SCALE": np.float32(0.5),
}
COORDINATES = tuple(f"{label}_{axis}" for label in LABELS for axis in "xyz")

PROCESSORS = {"intel": 84, "dec": 85, "mips": 86}


@dataclass
class Layout:
    """A C3D file laid out by hand: points in (n_frames, n_points, 3), NaN where hidden; analogue
    values in (n_frames * per_frame, n_channels), as stored."""

    points: np.ndarray
    analogue: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    per_frame: int = 1
    rate: float = 100.0
    first: int = 1
    scale: float = -1.0  # negative: floats
    labels: Sequence[str] = ()
    units: str = "mm"
    processor: str = "intel"
    more: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    header_events: Sequence[tuple[float, str]] = ()

    def order(self) -> str:
        return ">" if self.processor == "mips" else "<"

    def real(self, values) -> bytes:
        """Return 32-bit floats; the DEC form has twice-swapped halves and four times the value."""
        if self.processor != "dec":
            return np.asarray(values, dtype=f"{self.order()}f4").tobytes()
        halves = (4 * np.asarray(values, dtype="<f4")).astype("<f4").view("<u2").reshape(-1, 2)
        return halves[:, ::-1].tobytes()

    def whole(self, values) -> bytes:
        return np.asarray(values, dtype=np.int64).astype(f"{self.order()}i2").tobytes()

    def parameter(self, group: int, name: str, value) -> bytes:
        """Return one parameter's record but for the offset to the next."""
        if isinstance(value, str):
            kind, shape, content = -1, (len(value),), value.encode("latin-1")
        elif isinstance(value, (list, tuple)) and value and isinstance(value[0], str):
            width = max(len(text) for text in value)
            content = "".join(text.ljust(width) for text in value).encode("latin-1")
            kind, shape = -1, (width, len(value))
        else:
            array = np.asarray(value)
            whole = array.dtype.kind == "i"
            kind = 2 if whole else 4
            shape = array.shape[::-1]
            content = self.whole(array.ravel()) if whole else self.real(array.ravel())
        head = struct.pack("bb", len(name), group) + name.encode("ascii")
        body = struct.pack("bB", kind, len(shape)) + bytes(shape) + content + b"\0"
        return head + struct.pack(f"{self.order()}h", 2 + len(body)) + body

    def bytes(self) -> bytes:
        n_frames, n_points = self.points.shape[:2]
        n_channels = self.analogue.shape[1]
        groups = {
            "POINT": {
                "USED": np.int16(n_points),
                "SCALE": np.float32(self.scale),
                "RATE": np.float32(self.rate),
                "LABELS": list(self.labels),
                "UNITS": self.units,
            }
        }
        if n_channels:
            rate = np.float32(self.rate * self.per_frame)
            groups["ANALOG"] = {"USED": np.int16(n_channels), "RATE": rate}
        for name, parameters in self.more.items():
            groups.setdefault(name, {}).update(parameters)
        records = b""
        for number, (group, parameters) in enumerate(groups.items(), start=1):
            records += struct.pack("bb", len(group), -number) + group.encode("ascii")
            records += struct.pack(f"{self.order()}h", 3) + b"\0"
            for name, value in parameters.items():
                if not (isinstance(value, list) and not value):
                    records += self.parameter(number, name, value)
        section = bytes([1, 0x50, 0, PROCESSORS[self.processor]]) + records + b"\0\0"
        n_blocks = -(-len(section) // 512)
        section = bytes([1, 0x50, n_blocks]) + section[3:].ljust(512 * n_blocks - 3, b"\0")
        return self._header(n_frames, n_points, n_channels, 2 + n_blocks) + section + self._data()

    def _header(self, n_frames: int, n_points: int, n_channels: int, data_block: int) -> bytes:
        words = [n_points, n_channels * self.per_frame, self.first, self.first + n_frames - 1, 10]
        head = bytes([2, 0x50]) + self.whole(words) + self.real([self.scale])
        head += self.whole([data_block, self.per_frame]) + self.real([self.rate])
        head = bytearray(head.ljust(512, b"\0"))
        if self.header_events:
            head[298:302] = self.whole([12345, len(self.header_events)])
            times = self.real([time for time, _ in self.header_events])
            head[304 : 304 + len(times)] = times
            labels = "".join(label.ljust(4) for _, label in self.header_events).encode("ascii")
            head[396 : 396 + len(labels)] = labels
        return bytes(head)

    def _data(self) -> bytes:
        n_frames = len(self.points)
        places = self.points if self.scale < 0 else np.round(self.points / self.scale)
        hidden = np.isnan(self.points).any(axis=2)
        fourth = np.where(hidden, -1, 256 + 2)[..., np.newaxis]  # one camera, a residual of 2
        stored = np.concatenate([np.where(hidden[..., np.newaxis], 0, places), fourth], axis=2)
        frames = np.hstack(
            [stored.reshape(n_frames, -1), self.analogue.reshape(n_frames, -1)]
        ).ravel()
        data = self.real(frames) if self.scale < 0 else self.whole(frames)
        return data.ljust(-(-len(data) // 512) * 512, b"\0")


def write(folder: Path, **asked) -> Path:
    layout = {"labels": LABELS, "analogue": STORED, "per_frame": 4} | asked
    layout["more"] = {"ANALOG": ANALOGUE} | layout.get("more", {})
    (folder / "walk.c3d").write_bytes(Layout(POINTS, **layout).bytes())
    return folder / "walk.c3d"


def events_of(path: Path) -> list[tuple[float, str]]:
    form = next(each for each in FORMATS if each.name == "C3D")
    return [(event.time_s, event.label) for event in form.read_events(path, path.name)]


@pytest.mark.parametrize("scale", [-1.0, 0.25])
@pytest.mark.parametrize("processor", ["intel", "dec", "mips"])
def test_hand_made_bytes_are_read_to_the_last_bit(tmp_path, processor, scale):
    path = write(tmp_path, processor=processor, scale=scale, first=26)

    points = read_recording(path, columns=COORDINATES)
    analogue = read_recording(path, columns=["gonio", "trigger"])

    expected = POINTS if scale < 0 else scale * np.round(POINTS / scale)
    assert_array_equal(points.values.reshape(POINTS.shape), expected)
    assert_array_equal(points.time_s, 0.25 + np.arange(40) / 100)  # frame 26 is at 0.25 s
    assert points.units == ("mm",) * 9
    factor = np.array([0.005, 0.01], np.float32).astype(float) * 0.5
    assert_array_equal(analogue.values, (STORED - [100, -7]) * factor)
    assert_array_equal(analogue.time_s, 0.25 + np.arange(160) / 400)
    assert analogue.units == ("V", "V")


@pytest.mark.parametrize("scale", [-1.0, 0.25])
def test_the_library_reads_the_hand_made_bytes_alike(tmp_path, scale):
    # The library takes an offset without its sign; the format's user guide ("(data value -
    # offset) * channel scale * general scale") knows no such rule, so that here both are positive.
    more = {"ANALOG": ANALOGUE | {"OFFSET": np.array([100, 7], np.int16)}}
    path = write(tmp_path, scale=scale, more=more)

    theirs = ezc3d.c3d(str(path))

    ours = read_recording(path, columns=COORDINATES).values.reshape(POINTS.shape)
    assert_array_equal(ours, theirs["data"]["points"][:3].transpose(2, 1, 0))
    analogue = read_recording(path, columns=["gonio", "trigger"]).values
    assert_allclose(analogue, theirs["data"]["analogs"][0].T, rtol=1e-12)


def written_by_library(path: Path, n_frames: int, **point) -> dict:
    content = ezc3d.c3d()
    content["parameters"]["POINT"]["RATE"]["value"] = [59.94]
    content["parameters"]["POINT"]["LABELS"]["value"] = ["A", "B"]
    content["parameters"]["POINT"]["UNITS"]["value"] = ["m"]
    content["parameters"]["ANALOG"]["RATE"]["value"] = [5 * 59.94]
    content["parameters"]["ANALOG"]["LABELS"]["value"] = ["emg"]
    content["parameters"]["ANALOG"]["UNITS"]["value"] = ["V"]
    points = RNG.normal(0, 1, (4, 2, n_frames))
    points[:, 1, 3:6] = np.nan
    content["data"]["points"] = points
    content["data"]["analogs"] = RNG.normal(0, 1, (1, 1, 5 * n_frames))
    content.write(str(path))
    return ezc3d.c3d(str(path))


def test_files_of_the_library_are_read_as_it_reads_them(tmp_path):
    n_frames = 50
    theirs = written_by_library(tmp_path / "walk.c3d", n_frames)

    names = [f"{marker}_{axis}" for marker in "AB" for axis in "xyz"]
    points = read_recording(tmp_path / "walk.c3d", columns=names)
    emg = read_recording(tmp_path / "walk.c3d", columns=["emg"])

    expected = theirs["data"]["points"][:3].transpose(2, 1, 0).reshape(n_frames, -1)
    assert_array_equal(points.values, expected)
    assert np.isnan(points.values[3:6, 3:]).all()
    assert_array_equal(emg.values[:, 0], theirs["data"]["analogs"][0, 0])
    assert points.units == ("m",) * 6
    assert_allclose(points.time_s[-1], (n_frames - 1) / 59.94, rtol=1e-14)
    assert_allclose(emg.time_s[-1], (5 * n_frames - 1) / (5 * 59.94), rtol=1e-14)


def test_a_file_of_analogue_channels_alone_is_read(tmp_path):
    layout = Layout(np.zeros((40, 0, 3)), analogue=STORED, per_frame=4, more={"ANALOG": ANALOGUE})
    (tmp_path / "walk.c3d").write_bytes(layout.bytes())

    recording = read_recording(tmp_path / "walk.c3d")

    assert recording.channels == ("gonio", "trigger")
    assert_array_equal(recording.time_s, np.arange(160) / 400)


def test_events_of_the_library_are_read(tmp_path):
    content = ezc3d.c3d()
    content["parameters"]["POINT"]["RATE"]["value"] = [100]
    content["parameters"]["POINT"]["LABELS"]["value"] = ["A"]
    content["data"]["points"] = np.ones((4, 1, 50))
    content.add_event([1, 0.25], context="Left", label="initial contact")
    content.add_event([0, 0.5], context="Right", label="initial contact")
    content.write(str(tmp_path / "walk.c3d"))

    expected = [(0.5, "Right initial contact"), (60.25, "Left initial contact")]
    assert events_of(tmp_path / "walk.c3d") == expected


def test_more_frames_than_the_header_can_number_are_counted_by_the_trial_group(tmp_path):
    points = np.arange(70_000 * 3).reshape(70_000, 1, 3).astype(float)
    fields = {
        "ACTUAL_START_FIELD": np.array([3, 0], np.int16),
        "ACTUAL_END_FIELD": np.array([70_002 - 65_536, 1], np.int16),
    }
    layout = Layout(points, labels=["A"], more={"TRIAL": fields})
    data = bytearray(layout.bytes())
    data[6:10] = b"\x03\0\xff\xff"
    (tmp_path / "walk.c3d").write_bytes(bytes(data))

    recording = read_recording(tmp_path / "walk.c3d")

    assert_array_equal(recording.values, points[:, 0])
    assert_array_equal(recording.time_s, 0.02 + np.arange(70_000) / 100)


def test_more_frames_than_anything_counts_are_refused(tmp_path):
    written_by_library(tmp_path / "walk.c3d", 70_000)  # the library writes no TRIAL group

    with pytest.raises(RecordingError, match=r"more frames than its header can number \(65535\)"):
        read_recording(tmp_path / "walk.c3d")


TWICE = ("knee", "ankle", "foot")  # on either side, an outer and an inner marker of one label


def test_the_open_trial_with_gaps_and_equal_labels_is_read_whole():
    path = DATA / "walking_with_gaps_100hz.c3d"
    theirs = ezc3d.c3d(str(path))
    labels = theirs["parameters"]["POINT"]["LABELS"]["value"]

    found = describe_file(path)
    recording = read_recording(path)
    analogue = read_recording(path, columns=theirs["parameters"]["ANALOG"]["LABELS"]["value"])

    expected = theirs["data"]["points"][:3].transpose(2, 1, 0).reshape(487, 99)
    last = int(np.flatnonzero(~np.isnan(expected).all(axis=1))[-1])
    assert last == 326
    assert_array_equal(recording.values, expected[: last + 1])  # the empty end is left out
    assert any("160 empty row(s) at the end left out" in note for note in recording.notes)
    # every gap is in the description: 9682 of the 33 x 487 samples of points
    missing = {c.name: c.n_missing for c in found.channels}
    assert sum(missing[name] for name in recording.channels[::3]) == 9682
    assert np.isnan(expected[:, ::3]).sum() == 9682
    assert found.n_empty == int(np.isnan(expected).all(axis=1).sum())
    assert f"empty     {found.n_empty} row(s) in which no channel holds a value" in str(found)
    names = {name.rpartition("_")[0] for name in recording.channels}
    for label in (f"{side}_{part}" for side in ("left", "right") for part in TWICE):
        assert labels.count(label) == 2
        assert {f"{label}#1", f"{label}#2"} <= names
        assert label not in names
    assert_array_equal(analogue.values, theirs["data"]["analogs"][0].T)
    assert analogue.time_s[1] == 0.001


def test_a_bare_name_that_two_points_share_is_refused(tmp_path):
    path = write(tmp_path, labels=("knee", "knee", "thigh"))

    with pytest.raises(RecordingError, match=r"has no column 'knee_x'; it holds .*'knee#2_x'"):
        read_recording(path, columns=["knee_x"])
    assert_array_equal(read_recording(path, columns=["knee#2_x"]).values[:, 0], POINTS[:, 1, 0])


def test_points_and_analogue_channels_at_once_are_refused(tmp_path):
    with pytest.raises(RecordingError, match="'knee_x' at 100 Hz; 'gonio' at 400 Hz"):
        read_recording(write(tmp_path), columns=["knee_x", "gonio"])


def test_unnamed_points_and_channels_have_their_place_as_a_name(tmp_path):
    path = write(tmp_path, labels=("knee",), more={"ANALOG": {"SCALE": np.float32([1, 1])}})

    assert read_recording(path).channels[3:] == tuple(
        f"point_{k}_{axis}" for k in (2, 3) for axis in "xyz"
    )
    assert_array_equal(read_recording(path, columns=["analogue_2"]).values[:, 0], STORED[:, 1])


def test_unsigned_analogue_values_reach_above_32767(tmp_path):
    more = {"FORMAT": "UNSIGNED", "OFFSET": np.array([-32768, 0], np.int16)}  # 32768 unsigned
    path = write(tmp_path, scale=0.25, more={"ANALOG": ANALOGUE | more})
    theirs = (STORED % 65536 - [32768, 0]) * np.float32([0.005, 0.01]).astype(float) * 0.5

    assert_allclose(read_recording(path, columns=["gonio", "trigger"]).values, theirs, rtol=1e-12)


def test_points_that_hold_angles_have_the_unit_of_angles(tmp_path):
    more = {"POINT": {"ANGLES": ["ankle"], "ANGLE_UNITS": "deg"}}
    path = tmp_path / "walk.c3d"
    path.write_bytes(Layout(POINTS, labels=LABELS, more=more).bytes())

    assert read_recording(path).units == ("mm",) * 3 + ("deg",) * 3 + ("mm",) * 3


@pytest.mark.parametrize("processor", ["intel", "dec", "mips"])
def test_events_of_the_group_have_context_and_label(tmp_path, processor):
    event = {
        "USED": np.int16(2),
        "CONTEXTS": ["Left", "Right"],
        "LABELS": ["initial contact", "toe-off"],
        "TIMES": np.array([[0, 0.33], [1, 0.25]], np.float32),
    }
    path = write(tmp_path, more={"EVENT": event}, processor=processor)

    assert events_of(path) == [(0.33, "Left initial contact"), (60.25, "Right toe-off")]


def test_events_of_the_header_are_read_where_there_is_no_group(tmp_path):
    path = write(tmp_path, header_events=[(0.5, "heel"), (0.25, "toe")])

    assert events_of(path) == [(0.25, "toe"), (0.5, "heel")]


# Values of the DEC floating form, from memory: 1 is 0x4080, 0.5 is 0x4000, -3.5 is 0xC160, and an
# exponent of 0 is the number 0.
@pytest.mark.parametrize(
    ("stored", "value"),
    [(b"\x80\x40\0\0", 1.0), (b"\0\x40\0\0", 0.5), (b"\x60\xc1\0\0", -3.5), (b"\0\0\1\0", 0.0)],
)
def test_dec_floats_have_their_known_values(stored, value):
    assert floats(stored, "dec")[0] == value


@given(
    n_frames=st.integers(2, 12),
    n_points=st.integers(1, 4),
    per_frame=st.integers(1, 5),
    processor=st.sampled_from(["intel", "dec", "mips"]),
    scale=st.sampled_from([-1.0, 0.5]),
    first=st.integers(1, 60_000),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=40, deadline=None)
def test_any_layout_is_read_back(
    tmp_path_factory, n_frames, n_points, per_frame, processor, scale, first, seed
):
    rng = np.random.default_rng(seed)
    points = rng.integers(-2000, 2000, (n_frames, n_points, 3)) / 2.0
    points[rng.random((n_frames, n_points)) < 0.2] = np.nan
    points[-1] = 1.0  # an empty end would be left out
    layout = Layout(
        points,
        analogue=rng.integers(-99, 99, (n_frames * per_frame, 3)).astype(float),
        per_frame=per_frame,
        rate=120,
        first=first,
        scale=scale,
        processor=processor,
    )
    path = tmp_path_factory.mktemp("any") / "walk.c3d"
    path.write_bytes(layout.bytes())

    recording = read_recording(path)

    assert_array_equal(recording.values.reshape(points.shape), points)
    assert_allclose(recording.time_s * 120, first - 1 + np.arange(n_frames), rtol=0, atol=1e-9)
    analogue = read_recording(path, columns=["analogue_1", "analogue_2", "analogue_3"])
    assert_array_equal(analogue.values, layout.analogue)


@pytest.mark.parametrize(
    ("at", "field", "message"),
    [
        (1, b"\x51", "does not begin as a C3D file does"),
        (0, b"\xff", "its parameters begin at byte 130048"),
        (512 + 3, b"\x01", "its processor type is 1; accepted: 84, 85, 86"),
        (2, b"\x09\0", "its header says 9 points, POINT:USED 3"),
        (4, b"\x09\0", "9 analogue values a frame, which are not 4 sample"),
        (8, b"\xfe\xff", "it claims 65534 frames of 80 bytes"),
        (8, b"\0\0", "its frames are numbered from 1 to 0"),
        (16, b"\xff\xff", "it claims 40 frames of 80 bytes from byte 33553408"),
        (16, b"\0\0", "it claims 40 frames"),
    ],
)
def test_a_faulty_header_is_told_with_the_file(tmp_path, at, field, message):
    path = write(tmp_path)
    data = bytearray(path.read_bytes())
    data[at : at + len(field)] = field
    path.write_bytes(bytes(data))

    with pytest.raises(RecordingError, match=message) as caught:
        read_recording(path)
    assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"POINT": {"RATE": np.float32(0)}}, "its rate is 0 Hz"),
        ({"POINT": {"RATE": np.float32(np.nan)}}, "its rate is nan Hz"),
        ({"POINT": {"SCALE": np.float32(0)}}, "its POINT:SCALE is 0"),
        ({"ANALOG": {"SCALE": np.float32([1])}}, "ANALOG:SCALE has 1 values for 2 channels"),
    ],
)
def test_parameters_that_cannot_be_are_told(tmp_path, more, message):
    with pytest.raises(RecordingError, match=message):
        read_recording(write(tmp_path, more=more))


def test_a_file_cut_short_is_told(tmp_path):
    path = write(tmp_path)
    path.write_bytes(path.read_bytes()[:-1024])

    with pytest.raises(RecordingError, match=r"it claims 40 frames of 80 bytes .* are stored"):
        read_recording(path)


def test_one_kind_of_event_gives_the_times_of_cycles(tmp_path):
    event = {
        "USED": np.int16(3),
        "CONTEXTS": ["Left", "Right", "Left"],
        "LABELS": ["initial contact"] * 3,
        "TIMES": np.array([[0, 1.5], [0, 1], [0, 0.5]], np.float32),
    }
    path = write(tmp_path, more={"EVENT": event})

    assert_array_equal(read_event_times(path, label="Left initial contact"), [0.5, 1.5])
    message = (
        r"walk\.c3d: marks the events 'Left initial contact' and 'Right initial contact'; one kind"
    )
    with pytest.raises(RecordingError, match=message):
        read_event_times(path)
    with pytest.raises(RecordingError, match="none is called 'toe-off'"):
        read_event_times(path, label="toe-off")
    with pytest.raises(RecordingError, match="marks no events"):
        read_event_times(write(tmp_path))


def test_two_events_of_a_kind_at_one_time_are_refused(tmp_path):
    path = write(tmp_path, header_events=[(0.5, "heel"), (0.5, "heel")])

    with pytest.raises(RecordingError, match=r"marks 'heel' twice at 0\.5 s"):
        read_event_times(path)
    one = write(tmp_path, header_events=[(0.5, "heel")])
    assert_array_equal(read_event_times(one), [0.5])


def test_events_that_are_not_there_are_told(tmp_path):
    more = {"EVENT": {"USED": np.int16(3), "TIMES": np.array([[0, 1]], np.float32)}}

    with pytest.raises(RecordingError, match="claims 3 events and has 1 times"):
        events_of(write(tmp_path, more=more))


def test_subject_and_maker_are_named_nowhere(tmp_path):
    name = "Planted_Person"
    more = {
        "SUBJECTS": {"NAMES": [name], "LABEL_PREFIXES": [f"{name}:"]},
        "MANUFACTURER": {"COMPANY": name},
    }
    path = write(tmp_path, labels=[f"{name}:{label}" for label in LABELS], more=more)
    assert path.read_bytes().count(name.encode()) >= 5

    recording = read_recording(path)

    assert recording.channels == COORDINATES
    assert name not in repr(recording)
    assert name not in str(describe_file(path))
