"""C3D: marker trajectories and analogue channels of an optical system.

A marker is three channels, ``LABEL_x``, ``LABEL_y``, ``LABEL_z``; an analogue channel has its
label. Texts that can name a person or a maker (groups SUBJECTS, MANUFACTURER, descriptions) are
not read. An own reader, because the library's (ezc3d) ended the process on damaged files.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from twinangle.errors import RecordingError, closed
from twinangle.formats.c3d_parameters import (
    BLOCK,
    Header,
    Parameter,
    Processor,
    exact_decimal,
    floats,
    integers,
    numbers,
    read_parameters,
    texts,
)
from twinangle.formats.rate_groups import Group, numbered, read_groups
from twinangle.formats.request import Event, Format, Request, Table
from twinangle.signals.recording import Array

LARGEST_WORD = 65535  # of the header's frame numbers; longer recordings have theirs elsewhere
# Points that hold another quantity than a place, and the parameter that tells its unit.
OTHER_POINTS = {
    "POINT:ANGLES": "POINT:ANGLE_UNITS",
    "POINT:FORCES": "POINT:FORCE_UNITS",
    "POINT:MOMENTS": "POINT:MOMENT_UNITS",
    "POINT:POWERS": "POINT:POWER_UNITS",
    "POINT:SCALARS": "POINT:SCALAR_UNITS",
}


@dataclass(frozen=True, slots=True, eq=False)
class _File:
    """A file's bytes with what they say of themselves, checked against their number."""

    data: bytes
    header: Header
    processor: Processor
    parameters: Mapping[str, Parameter]

    @property
    def scale(self) -> float:
        """POINT:SCALE: negative where the values are floats."""
        return self.number("POINT:SCALE", self.header.scale)

    @property
    def rate_hz(self) -> float:
        """Frames a second."""
        return exact_decimal(self.number("POINT:RATE", self.header.rate_hz))

    @property
    def frame_bytes(self) -> int:
        """Length of one frame, points and analogue values."""
        values = 4 * self.header.n_points + self.header.n_analogue
        return values * (4 if self.scale < 0 else 2)

    @property
    def start_s(self) -> float:
        """Time of the first frame; frame 1 of the recording is at 0 s."""
        return (self.frame_range[0] - 1) / self.rate_hz

    @property
    def frame_range(self) -> tuple[int, int]:
        """Numbers of the first and the last frame, from TRIAL where the header's words end."""
        first, last = self.header.first_frame, self.header.last_frame
        if last == LARGEST_WORD:
            fields = [
                numbers(self.parameters, f"TRIAL:ACTUAL_{end}_FIELD") for end in ("START", "END")
            ]
            if all(len(field) == 2 for field in fields):
                first, last = (
                    int(field[0]) % 65536 + 65536 * (int(field[1]) % 65536) for field in fields
                )
            elif "POINT:LONG_FRAMES" in self.parameters:
                last = first - 1 + int(self.number("POINT:LONG_FRAMES", 0))
        return first, last

    @property
    def n_frames(self) -> int:
        """How many frames there are."""
        first, last = self.frame_range
        return last - first + 1

    @property
    def unread_bytes(self) -> int:
        """How many bytes follow the last frame; less than a block is padding."""
        return len(self.data) - self.header.data_start - self.n_frames * self.frame_bytes

    def number(self, name: str, default: float) -> float:
        """Return a parameter of one number."""
        found = numbers(self.parameters, name)
        return float(found[0]) if found.size else default

    def values(self) -> Array:
        """Return the stored values, (n_frames, 4 n_points + n_analogue), before any scale."""
        start = self.header.data_start
        content = self.data[start : start + self.n_frames * self.frame_bytes]
        flat = (
            floats(content, self.processor) if self.scale < 0 else integers(content, self.processor)
        )
        return flat.reshape(self.n_frames, -1)  # type: ignore[return-value]


def read(path: Path, request: Request) -> Table:
    """Read the requested channels of a C3D file."""
    try:
        file = _open(path.read_bytes())
        groups, hints = _groups(file)
    except ValueError as error:
        raise _unreadable(request.source, error) from error
    return read_groups(groups, request, notes=_notes(file), hints=hints)


def read_events(path: Path, source: str) -> tuple[Event, ...]:
    """Read the events of the EVENT group, or else of the header, in the order of their times.

    A label of the group is its context and its label, as "Left initial contact".

    Raises
    ------
    RecordingError
        If the file is not readable, or an event has no time.
    """
    try:
        file = _open(path.read_bytes())
        found = _group_events(file.parameters) or file.header.events
    except ValueError as error:
        raise _unreadable(source, error) from error
    if not all(np.isfinite(time_s) for time_s, _ in found):
        raise RecordingError(f"{source}: has an event without a time.")
    return tuple(sorted((Event(*each) for each in found), key=lambda event: event.time_s))


def _unreadable(source: str, error: Exception) -> RecordingError:
    return RecordingError(f"{source}: is not a readable C3D file: {closed(error)}")


def _group_events(parameters: Mapping[str, Parameter]) -> tuple[tuple[float, str], ...]:
    """Return times (stored as minutes and seconds) and labels of the EVENT group."""
    times = numbers(parameters, "EVENT:TIMES")
    labels, contexts = (texts(parameters, f"EVENT:{name}") for name in ("LABELS", "CONTEXTS"))
    used = numbers(parameters, "EVENT:USED")
    count = int(used[0]) if used.size else times.size // 2
    if count < 0 or 2 * count > times.size:
        raise ValueError(f"it claims {count} events and has {times.size // 2} times")
    events = []
    for k in range(count):
        parts = [each[k] for each in (contexts, labels) if k < len(each) and each[k]]
        events.append((60 * float(times[2 * k]) + exact_decimal(times[2 * k + 1]), " ".join(parts)))
    return tuple(events)


def _open(data: bytes) -> _File:
    """Read header and parameters, and check them against each other and the file's size."""
    header, processor, parameters = read_parameters(data)
    file = _File(data, header, processor, parameters)
    used = file.number("POINT:USED", header.n_points)
    if int(used) % 65536 != header.n_points:
        raise ValueError(f"its header says {header.n_points} points, POINT:USED {used:g}")
    channels = int(file.number("ANALOG:USED", 0)) % 65536 if header.n_analogue else 0
    if header.n_analogue and channels * header.samples_per_frame != header.n_analogue:
        raise ValueError(
            f"its header says {header.n_analogue} analogue values a frame, which are not "
            f"{header.samples_per_frame} sample(s) of {channels} channel(s)"
        )
    if not header.n_points and not header.n_analogue:
        raise ValueError("it holds no points and no analogue channels")
    if not (np.isfinite(file.rate_hz) and file.rate_hz > 0):
        raise ValueError(f"its rate is {file.rate_hz:g} Hz")
    if not np.isfinite(file.scale) or file.scale == 0:
        raise ValueError(f"its POINT:SCALE is {file.scale:g}")
    _check_size(file)
    return file


def _check_size(file: _File) -> None:
    """Refuse frame numbers that the bytes of the file do not bear out."""
    first, last = file.frame_range
    if file.n_frames < 1:
        raise ValueError(f"its frames are numbered from {first} to {last}")
    stored = (len(file.data) - file.header.data_start) // file.frame_bytes
    if file.header.data_start < BLOCK or file.n_frames > stored:
        raise ValueError(
            f"it claims {file.n_frames} frames of {file.frame_bytes} bytes from byte "
            f"{file.header.data_start} on, where {max(stored, 0)} are stored"
        )
    if last == LARGEST_WORD and file.unread_bytes >= BLOCK:
        raise ValueError(
            f"it holds more frames than its header can number ({LARGEST_WORD}), and neither "
            "TRIAL:ACTUAL_END_FIELD nor POINT:LONG_FRAMES tells how many"
        )


def _groups(file: _File) -> tuple[list[Group], tuple[str, ...]]:
    """Return the points and the analogue channels, and hints on their names."""
    groups: list[Group] = []
    hints: list[str] = []
    values = file.values()
    if file.header.n_points:
        markers, found = _labels(file, "POINT", file.header.n_points)
        hints += found
        groups.append(_points(file, values, markers))
    if file.header.n_analogue:
        n_channels = file.header.n_analogue // file.header.samples_per_frame
        channels, found = _labels(file, "ANALOG", n_channels)
        hints += found
        groups.append(_analogue(file, values, channels))
    return groups, tuple(hints)


def _notes(file: _File) -> tuple[str, ...]:
    """Tell of bytes that are left out; less than a block is padding."""
    if file.unread_bytes < BLOCK:
        return ()
    return (f"{file.unread_bytes} bytes after the last frame left out",)


def _labels(file: _File, group: str, count: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return `count` different names; a subject's name before a label is left out."""
    found = [*texts(file.parameters, f"{group}:LABELS")[:count]]
    found += [""] * (count - len(found))
    subjects = [
        name.rstrip(":")
        for key in ("SUBJECTS:NAMES", "SUBJECTS:LABEL_PREFIXES")
        for name in texts(file.parameters, key)
        if name.rstrip(":")
    ]
    for name in subjects:
        found = [label.removeprefix(f"{name}:") for label in found]
    what = "point" if group == "POINT" else "analogue"
    return numbered([label or f"{what}_{k + 1}" for k, label in enumerate(found)])


def _frame(file: _File, per_frame: int) -> Callable[[int], str]:
    first = file.frame_range[0]
    return lambda sample: f"frame {first + sample // per_frame}"


def _points(file: _File, values: Array, markers: tuple[str, ...]) -> Group:
    """Return the markers' coordinates; a negative residual marks a gap."""
    scale = 1.0 if file.scale < 0 else file.scale

    @np.errstate(invalid="ignore", over="ignore")  # what a damaged file holds is judged later
    def load(places: Sequence[int]) -> Array:
        wanted = np.array(places, dtype=np.intp)
        points = wanted // 3
        out = values[:, 4 * points + wanted % 3] * np.float64(scale)
        seen = dict.fromkeys(points.tolist())
        hidden = {point: values[:, 4 * point + 3] < 0 for point in seen}
        for column, point in enumerate(points.tolist()):
            out[hidden[point], column] = np.nan
        return np.asarray(out, dtype=np.float64)

    units = _point_units(file.parameters, markers)
    return Group(
        what="coordinate(s) of points",
        names=tuple(f"{marker}_{axis}" for marker in markers for axis in "xyz"),
        units={f"{marker}_{axis}": unit for marker, unit in units.items() for axis in "xyz"},
        rate_hz=file.rate_hz,
        n_samples=file.n_frames,
        load=load,
        row_of=_frame(file, 1),
        start_s=file.start_s,
    )


def _point_units(parameters: Mapping[str, Parameter], markers: Sequence[str]) -> dict[str, str]:
    """Return each point's unit; points that hold angles, forces … have the unit of those."""
    usual = next(iter(texts(parameters, "POINT:UNITS")), "")
    units = dict.fromkeys(markers, usual)
    for group, unit in OTHER_POINTS.items():
        for label in set(texts(parameters, group)) & set(units):
            units[label] = next(iter(texts(parameters, unit)), "")
    return units


def _analogue(file: _File, values: Array, channels: tuple[str, ...]) -> Group:
    """Return the analogue channels: ``(stored - OFFSET) * SCALE * GEN_SCALE``.

    The formula is the user guide's of the format; an offset counts with its sign.
    """
    per_frame, begin = file.header.samples_per_frame, 4 * file.header.n_points
    unsigned = texts(file.parameters, "ANALOG:FORMAT")[:1] == ("UNSIGNED",)
    scale = _each(file, "ANALOG:SCALE", len(channels), 1.0)
    scale = scale * file.number("ANALOG:GEN_SCALE", 1.0)
    offset = _each(file, "ANALOG:OFFSET", len(channels), 0.0)
    if unsigned:
        offset = offset % 65536

    @np.errstate(invalid="ignore", over="ignore")
    def load(places: Sequence[int]) -> Array:
        n_frames = file.n_frames
        stored = values[:, begin:].reshape(n_frames * per_frame, len(channels))[:, list(places)]
        raw = stored.astype(np.float64)
        if unsigned and file.scale > 0:
            raw %= 65536
        return np.asarray((raw - offset[list(places)]) * scale[list(places)])

    units = texts(file.parameters, "ANALOG:UNITS")
    return Group(
        what="analogue channel(s)",
        names=channels,
        units=dict(zip(channels, units, strict=False)),
        rate_hz=file.rate_hz * per_frame,
        n_samples=file.n_frames * per_frame,
        load=load,
        row_of=_frame(file, per_frame),
        start_s=file.start_s,
    )


def _each(file: _File, name: str, count: int, default: float) -> Array:
    """Return one number a channel; the default where the file has none at all."""
    found = numbers(file.parameters, name)
    if not found.size:
        return np.full(count, default)
    if found.size < count:
        raise ValueError(f"its {name} has {found.size} values for {count} channels")
    return found[:count]


FORMAT = Format("C3D", (".c3d",), read, read_events)
