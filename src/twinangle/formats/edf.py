"""EDF, EDF+ and BDF: signals of a biosignal logger, each at its own rate.

Follows Kemp et al. (1992, Electroencephalogr Clin Neurophysiol 82, 391) and Kemp & Olivan (2003,
Clin Neurophysiol 114, 1755), the layout from memory; BDF is the same with 24-bit samples.
Checked against files written by pyEDFlib and by edfio. The fields of patient and recording are
never looked at.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from twinangle.errors import RecordingError, closed
from twinangle.formats.rate_groups import Group, numbered, read_groups
from twinangle.formats.request import Event, Format, Request, Table
from twinangle.signals.recording import Array

HEADER_BYTES = 256  # of the file, and again of each signal
MOST_SIGNALS = 4096
# Fields of the signals' header in their order, with their widths in bytes.
FIELDS = {
    "label": 16, "transducer": 80, "unit": 8, "physical minimum": 8, "physical maximum": 8,
    "digital minimum": 8, "digital maximum": 8, "prefilter": 80, "samples": 8, "reserved": 32,
}  # fmt: skip
ANNOTATIONS = ("EDF Annotations", "BDF Annotations")
ONSET = re.compile(rb"([+-]\d{1,15}(?:\.\d{0,20})?)(?:\x15[^\x14]*)?")


@dataclass(frozen=True, slots=True)
class _Signal:
    """One signal's header, and where its samples lie in a data record."""

    label: str
    unit: str
    physical: tuple[float, float]
    digital: tuple[int, int]
    n_samples: int  # a data record
    start: int  # byte in the data record

    @property
    def is_annotation(self) -> bool:
        """Whether it holds texts instead of samples."""
        return self.label in ANNOTATIONS


@dataclass(frozen=True, slots=True, eq=False)
class _File:
    """A file's header, checked, and its data records."""

    signals: tuple[_Signal, ...]
    sample_bytes: int
    duration_s: Fraction  # of a data record
    discontinuous: bool
    plus: bool
    began: datetime | None
    records: NDArray[np.uint8]  # (n_records, bytes)
    notes: tuple[str, ...]


def read(path: Path, request: Request) -> Table:
    """Read the requested signals of an EDF, EDF+ or BDF file."""
    try:
        file = _open(path)
        groups, hints = _groups(file)
    except ValueError as error:
        raise _unreadable(request.source, error) from error
    table = read_groups(groups, request, notes=file.notes, hints=hints)
    return replace(table, began=file.began)


def read_events(path: Path, source: str) -> tuple[Event, ...]:
    """Read the annotations that have a text, in the order of their times.

    Raises
    ------
    RecordingError
        If the file is not readable.
    """
    try:
        file = _open(path)
    except ValueError as error:
        raise _unreadable(source, error) from error
    events = [
        Event(onset, text)
        for record in range(len(file.records))
        for onset, texts in _annotations(file, record)
        for text in texts
        if text
    ]
    return tuple(sorted(events, key=lambda event: event.time_s))


def _unreadable(source: str, error: Exception) -> RecordingError:
    return RecordingError(f"{source}: is not a readable EDF or BDF file: {closed(error)}")


def _open(path: Path) -> _File:
    """Read the header, and check what it claims against the file's size."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(HEADER_BYTES)
        if len(head) < HEADER_BYTES or not (head[:8].strip() == b"0" or head[0] == 0xFF):
            raise ValueError("it does not begin as an EDF or BDF file does")
        n_signals = _integer(head[252:256], "number of signals", 1, MOST_SIGNALS)
        n_bytes = _integer(head[184:192], "number of bytes in the header", 1, size)
        if n_bytes != HEADER_BYTES * (n_signals + 1):
            raise ValueError(f"its header of {n_signals} signals claims {n_bytes} bytes")
        signal_head = stream.read(HEADER_BYTES * n_signals)
    sample_bytes = 3 if head[0] == 0xFF else 2
    signals = _signals(signal_head, n_signals, sample_bytes)
    kind = _text(head[192:197])
    record_bytes = sample_bytes * sum(signal.n_samples for signal in signals)
    if not record_bytes or not size:
        raise ValueError("its data records are empty")
    n_records, notes = _n_records(head, (size - n_bytes) // record_bytes)
    records = np.memmap(path, np.uint8, "r", n_bytes, (n_records, record_bytes))
    return _File(
        signals=signals,
        sample_bytes=sample_bytes,
        duration_s=_duration(head, signals),
        discontinuous=kind[3:] == "+D",
        plus=kind[3:4] == "+",
        began=_began(head),
        records=records,
        notes=notes,
    )


def _text(field: bytes) -> str:
    return field.decode("latin-1").strip(" \0")


def _integer(field: bytes, name: str, least: int, most: int) -> int:
    text = _text(field)
    if not re.fullmatch(r"[+-]?\d+", text) or not least <= int(text) <= most:
        raise ValueError(f"its {name} is {text!r}")
    return int(text)


def _float(field: bytes, name: str) -> float:
    try:
        value = float(_text(field).replace(",", "."))
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise ValueError(f"its {name} is {_text(field)!r}")
    return value


def _n_records(head: bytes, stored: int) -> tuple[int, tuple[str, ...]]:
    """Return the number of data records; -1 says that the recording was never closed."""
    claimed = _integer(head[236:244], "number of data records", -1, 10**8)
    if claimed == 0:
        raise ValueError("it claims 0 data records; was the recording never closed?")
    if claimed > stored or not stored:
        raise ValueError(f"it claims {claimed} data records where {stored} are stored")
    if claimed == -1:
        return stored, (f"was not closed by the logger; its {stored} whole data records are read",)
    if claimed < stored:
        return claimed, (f"{stored - claimed} data record(s) beyond the number it claims left out",)
    return claimed, ()


def _duration(head: bytes, signals: Sequence[_Signal]) -> Fraction:
    """Return a data record's duration, as the decimal number that is written."""
    text = _text(head[244:252])
    if not re.fullmatch(r"\+?(\d+\.?\d*|\.\d+)", text):
        raise ValueError(f"the duration of its data records is {text!r}")
    duration_s = Fraction(text)
    if not duration_s and any(not signal.is_annotation for signal in signals):
        raise ValueError("the duration of its data records is 0")
    return duration_s


def _began(head: bytes) -> datetime | None:
    """Return the header's start, ``dd.mm.yy`` and ``hh.mm.ss``; years before 85 are 20yy."""
    parts = re.fullmatch(r"(\d\d)\.(\d\d)\.(\d\d)(\d\d)\.(\d\d)\.(\d\d)", _text(head[168:184]))
    if parts is None:
        return None
    day, month, year, hour, minute, second = (int(part) for part in parts.groups())
    try:
        return datetime(year + (1900 if year >= 85 else 2000), month, day, hour, minute, second)
    except ValueError:
        return None


def _signals(head: bytes, count: int, sample_bytes: int) -> tuple[_Signal, ...]:
    """Return the signals' headers; the fields of all signals lie side by side."""
    fields, at = {}, 0
    for name, width in FIELDS.items():
        fields[name] = [head[at + k * width : at + (k + 1) * width] for k in range(count)]
        at += count * width
    signals, start = [], 0
    for k in range(count):
        label = _text(fields["label"][k])
        bits = 8 * sample_bytes - 1
        n_samples = _integer(fields["samples"][k], f"samples a record of {label!r}", 0, 10**8)
        if label in ANNOTATIONS:
            limits = (0.0, 1.0, 0, 1)
        else:
            ends = [
                _float(fields[f"physical {end}"][k], f"physical {end} of {label!r}")
                for end in ("minimum", "maximum")
            ]
            steps = [
                _integer(
                    fields[f"digital {end}"][k], f"digital {end} of {label!r}", -(2**bits), 2**bits
                )
                for end in ("minimum", "maximum")
            ]
            limits = (ends[0], ends[1], steps[0], steps[1])
        if not _is_range(*limits):
            raise ValueError(f"the range of its signal {label!r} is {limits[:2]} for {limits[2:]}")
        unit = _text(fields["unit"][k])
        signals.append(_Signal(label, unit, limits[:2], limits[2:], n_samples, start))
        start += sample_bytes * n_samples
    return tuple(signals)


def _is_range(low: float, high: float, least: int, most: int) -> bool:
    """Tell whether the straight line through the two ranges can be computed."""
    if least >= most:
        return False
    gain = (high - low) / (most - least)
    return gain != 0 and bool(np.isfinite(gain)) and bool(np.isfinite(high / gain))


def _groups(file: _File) -> tuple[list[Group], tuple[str, ...]]:
    """Return the signals by rate, the one most signals have first, and hints on their names."""
    ordinary = [each for each in file.signals if not each.is_annotation and each.n_samples]
    if not ordinary:
        raise ValueError("it holds annotations alone, and no signal")
    names, hints = numbered([each.label or f"signal_{k + 1}" for k, each in enumerate(ordinary)])
    by_rate: dict[int, list[tuple[str, _Signal]]] = {}
    for name, signal in zip(names, ordinary, strict=True):
        by_rate.setdefault(signal.n_samples, []).append((name, signal))
    ordered = sorted(by_rate.items(), key=lambda item: (-len(item[1]), -item[0]))
    onsets = _onsets(file)
    groups = [_group(file, n_samples, members, onsets) for n_samples, members in ordered]
    return groups, hints


def _group(
    file: _File, n_samples: int, members: Sequence[tuple[str, _Signal]], onsets: Array
) -> Group:
    """Return the signals of one rate; the onsets tell where the clock has breaks."""
    rate_hz = float(n_samples / file.duration_s)
    total = n_samples * len(file.records)

    def load(places: Sequence[int]) -> Array:
        values = np.empty((len(places), total))
        for row, place in enumerate(places):
            _physical(file, members[place][1], values[row])
        return values.T

    def times() -> Array:
        within = np.arange(n_samples) / rate_hz
        return np.asarray((onsets[:, np.newaxis] + within).ravel())

    return Group(
        what="signal(s)",
        names=tuple(name for name, _ in members),
        units={name: signal.unit for name, signal in members if signal.unit},
        rate_hz=rate_hz,
        n_samples=total,
        load=load,
        row_of=lambda sample: f"sample {sample + 1} (data record {sample // n_samples + 1})",
        start_s=float(onsets[0]),
        time_s=times if onsets.size > 1 else None,
    )


def _physical(file: _File, signal: _Signal, out: Array) -> None:
    """Write a signal's values in its unit: the straight line through its two ranges."""
    (low, high), (least, most) = signal.physical, signal.digital
    gain = (high - low) / (most - least)
    np.add(_digital(file, signal), high / gain - most, out=out)
    out *= gain


def _digital(file: _File, signal: _Signal) -> NDArray[np.int16] | NDArray[np.int32]:
    """Return a signal's stored integers, record after record."""
    end = signal.start + file.sample_bytes * signal.n_samples
    content = np.ascontiguousarray(file.records[:, signal.start : end])
    if file.sample_bytes == 2:
        return content.view("<i2").ravel()
    wide = np.zeros((content.size // 3, 4), np.uint8)
    wide[:, 1:] = content.reshape(-1, 3)
    return wide.view("<i4").ravel() >> 8


def _onsets(file: _File) -> Array:
    """Return the time of every data record where they do not follow each other, else of the first.

    The annotations' first entry in each data record tells its time; the header's start is at 0 s.
    """
    if not file.plus:
        return np.zeros(1)
    records = range(len(file.records) if file.discontinuous else 1)
    onsets = np.array([_onset(file, record) for record in records])
    even = onsets[0] + float(file.duration_s) * np.arange(onsets.size)
    return onsets if np.abs(onsets - even).max() > 1e-9 else onsets[:1]


def _onset(file: _File, record: int) -> float:
    for onset, texts in _annotations(file, record):
        if texts[:1] == [""]:
            return onset
        break
    if file.discontinuous:
        raise ValueError(f"it has breaks, and its data record {record + 1} does not tell its time")
    return 0.0


def _annotations(file: _File, record: int) -> Iterator[tuple[float, list[str]]]:
    """Yield onset and texts of every annotation in a data record."""
    for signal in file.signals:
        if signal.is_annotation:
            end = signal.start + file.sample_bytes * signal.n_samples
            for entry in file.records[record, signal.start : end].tobytes().split(b"\0"):
                head, *texts = entry.split(b"\x14")
                match = ONSET.fullmatch(head)
                if match:
                    decoded = [text.decode("utf-8", "replace") for text in texts]
                    yield float(match[1]), decoded[:-1] if decoded[-1:] == [""] else decoded


FORMAT = Format("EDF", (".edf", ".bdf"), read, read_events)
