"""Header and parameter section of a C3D file, read without trusting a byte of it.

Follows the published C3D format (512-byte blocks; integers and floats of three processors; from
memory, checked against files that ezc3d writes and against bytes laid out by hand).
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from twinangle.signals.recording import Array

BLOCK = 512
MAGIC = 0x50
# The names by which the format itself calls its three processor types.
PROCESSORS = {84: "intel", 85: "dec", 86: "mips"}
ITEM_BYTES = {-1: 1, 1: 1, 2: 2, 4: 4}
EVENT_KEY = 12345  # marks four-letter event labels in the header
MOST_HEADER_EVENTS = 18

Processor: TypeAlias = Literal["intel", "dec", "mips"]
Parameter: TypeAlias = "Array | tuple[str, ...]"


@dataclass(frozen=True, slots=True)
class Header:
    """The first block: what the data section holds, as far as it tells."""

    n_points: int
    n_analogue: int  # analogue values a frame, all channels and samples
    first_frame: int
    last_frame: int
    scale: float
    data_start: int  # byte
    samples_per_frame: int
    rate_hz: float
    events: tuple[tuple[float, str], ...]  # seconds, label


def integers(data: bytes, processor: Processor) -> NDArray[np.int16]:
    """Return 16-bit integers as the processor stores them."""
    return np.frombuffer(data, ">i2" if processor == "mips" else "<i2")


def floats(data: bytes, processor: Processor) -> NDArray[np.float32]:
    """Return 32-bit floats as the processor stores them.

    The DEC form has its 16-bit halves the other way round and an exponent that is 2 larger than
    IEEE 754's; an exponent of 0 is the number 0.
    """
    if processor != "dec":
        return np.frombuffer(data, ">f4" if processor == "mips" else "<f4").astype(
            np.float32, copy=False
        )
    halves = np.frombuffer(data, "<u2").astype(np.uint32).reshape(-1, 2)
    bits = (halves[:, 0] << 16) | halves[:, 1]
    exponent = (bits >> 23) & 0xFF
    return np.where(exponent > 2, bits - (2 << 23), 0).astype(np.uint32).view(np.float32)


def exact_decimal(value: float) -> float:
    """Return the shortest decimal that a 32-bit float stands for: 59.94, not 59.93999862…."""
    return float(str(np.float32(value)))


def read_parameters(data: bytes) -> tuple[Header, Processor, dict[str, Parameter]]:
    """Return header, processor, and the parameters by ``GROUP:NAME`` in capitals.

    Numbers are float64 arrays, flattened in the order of the file; texts are tuples of strings,
    stripped.

    Raises
    ------
    ValueError
        If the file is not of this format, or its parameters are damaged.
    """
    if len(data) < 2 * BLOCK or data[1] != MAGIC or not data[0]:
        raise ValueError("it does not begin as a C3D file does")
    start = (data[0] - 1) * BLOCK
    if start + 4 > len(data):
        raise ValueError(f"its parameters begin at byte {start} of {len(data)}")
    processor = PROCESSORS.get(data[start + 3])
    if processor is None:
        raise ValueError(f"its processor type is {data[start + 3]}; accepted: 84, 85, 86")
    kind: Processor = processor  # type: ignore[assignment]
    return _header(data[:BLOCK], kind), kind, _parameters(data, start + 4, kind)


def _header(block: bytes, processor: Processor) -> Header:
    words = [int(word) for word in integers(block, processor).view().astype(np.int64) & 0xFFFF]
    scale, rate_hz = (float(floats(block[at : at + 4], processor)[0]) for at in (12, 20))
    return Header(
        n_points=words[1],
        n_analogue=words[2],
        first_frame=words[3],
        last_frame=words[4],
        scale=scale,
        data_start=(words[8] - 1) * BLOCK,
        samples_per_frame=words[9],
        rate_hz=rate_hz,
        events=_header_events(block, words, processor),
    )


def _header_events(
    block: bytes, words: list[int], processor: Processor
) -> tuple[tuple[float, str], ...]:
    if words[149] != EVENT_KEY:
        return ()
    count = min(words[150], MOST_HEADER_EVENTS)
    times = floats(block[304 : 304 + 4 * MOST_HEADER_EVENTS], processor)
    labels = [block[396 + 4 * k : 400 + 4 * k].decode("latin-1").strip(" \0") for k in range(count)]
    return tuple((exact_decimal(times[k]), labels[k]) for k in range(count))


def _parameters(data: bytes, at: int, processor: Processor) -> dict[str, Parameter]:
    """Walk the records of groups and parameters; each says where the next one begins."""
    order = ">" if processor == "mips" else "<"
    groups: dict[int, str] = {}
    found: list[tuple[int, str, Parameter]] = []
    while at + 2 <= len(data):
        length, group = abs(struct.unpack_from("b", data, at)[0]), data[at + 1]
        if not length or not group:
            break
        name = data[at + 2 : at + 2 + length].decode("latin-1").strip(" \0").upper()
        here = at + 2 + length
        if here + 2 > len(data):
            raise ValueError("its parameters end within a record")
        step = struct.unpack_from(f"{order}H", data, here)[0]
        if group > 127:
            groups[256 - group] = name
        else:
            found.append((group, name, _value(data, here + 2, name, processor)))
        if not step:
            break
        at = here + step
        if step < 2:
            raise ValueError(f"the record of {name!r} claims to be {step} byte(s) long")
    return {f"{groups.get(group, group)}:{name}": value for group, name, value in found}


def _value(data: bytes, at: int, name: str, processor: Processor) -> Parameter:
    """Return a parameter's content; its type and dimensions are checked against the file."""
    if at + 2 > len(data):
        raise ValueError(f"it ends within the parameter {name!r}")
    kind, n_dimensions = struct.unpack_from("bB", data, at)
    size = ITEM_BYTES.get(kind)
    shape = tuple(data[at + 2 : at + 2 + n_dimensions])
    start = at + 2 + n_dimensions
    end = start + math.prod(shape) * (size or 0)
    if size is None or n_dimensions > 7 or len(shape) < n_dimensions or end > len(data):
        raise ValueError(f"the parameter {name!r} is damaged (type {kind}, dimensions {shape})")
    content = data[start:end]
    if kind == -1:
        return _texts(content, shape)
    if kind == 4:
        return floats(content, processor).astype(np.float64)
    if kind == 2:
        return integers(content, processor).astype(np.float64)
    return np.frombuffer(content, np.uint8).astype(np.float64)


def _texts(content: bytes, shape: tuple[int, ...]) -> tuple[str, ...]:
    """Cut characters into texts as long as the first dimension says."""
    width = shape[0] if shape else 1
    if not width:
        return ("",) * math.prod(shape[1:])
    return tuple(
        content[at : at + width].decode("utf-8", "replace").strip(" \0\t\r\n")
        for at in range(0, len(content), width)
    )


def numbers(parameters: Mapping[str, Parameter], name: str) -> Array:
    """Return a parameter of numbers, its continuations (``NAME2`` …) joined; empty where absent."""
    parts = [each for each in _continued(parameters, name) if isinstance(each, np.ndarray)]
    return np.concatenate(parts) if parts else np.zeros(0)


def texts(parameters: Mapping[str, Parameter], name: str) -> tuple[str, ...]:
    """Return a parameter of texts, its continuations joined; empty where absent."""
    parts = [each for each in _continued(parameters, name) if isinstance(each, tuple)]
    return tuple(text for part in parts for text in part)


def _continued(parameters: Mapping[str, Parameter], name: str) -> list[Parameter]:
    parts = [parameters[name]] if name in parameters else []
    number = 2
    while parts and f"{name}{number}" in parameters:
        parts.append(parameters[f"{name}{number}"])
        number += 1
    return parts
