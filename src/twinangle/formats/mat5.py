"""Numeric arrays and structs of a MATLAB 5 to 7 file, read without trusting a byte of it.

Follows the published layout (MAT-File Format, version 5; from memory, checked against files that
scipy writes). scipy's own reader ends the process on some damaged files and takes others that
contradict themselves; in a child process it would cost more than it spares, see DEVELOPERS.md.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Iterator
from typing import Literal, TypeAlias

import numpy as np

from twinangle.signals.recording import Array

NUMBERS = {
    1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8",
}  # fmt: skip
MATRIX, COMPRESSED = 14, 15
STRUCT_CLASS, NUMERIC_CLASSES = 2, range(6, 16)
OPAQUE_CLASS = 17  # objects
COMPLEX_FLAG = 0x0800
HEADER_BYTES = 128
DEEPEST = 20  # structs within structs

Order: TypeAlias = Literal["<", ">"]
Element: TypeAlias = tuple[int, memoryview, int]  # kind, content, where the next one begins


def read_arrays(
    data: bytes, most_bytes: int, objects: dict[str, str] | None = None
) -> dict[str, Array]:
    """Return every real numeric array of a file, struct fields under ``struct.field``.

    Parameters
    ----------
    data : bytes
        The whole file.
    most_bytes : int
        What its compressed parts may come to all in all.
    objects : dict of str to str, optional
        Is given the name and the class of every object (a table among them).

    Returns
    -------
    dict of str to ndarray
        float64, in the shapes of the file. Text, cells, complex and sparse arrays, arrays of
        structs, objects and functions are left out.

    Raises
    ------
    ValueError
        If the file is not of this format, is damaged, or unpacks to more.
    """
    order = _byte_order(data)
    view, at = memoryview(data), HEADER_BYTES
    found: dict[str, Array] = {}
    while at < len(view):
        kind, content, at = _element(view, at, order)
        if kind == COMPRESSED:
            unpacked = _inflated(content, most_bytes)
            most_bytes -= len(unpacked)
            kind, content, _ = _element(unpacked, 0, order)
        if kind == MATRIX:
            name, class_name = _object(content, order)
            if class_name:
                if name and objects is not None:
                    objects[name] = class_name
            else:
                # what objects share stands in an array without a name
                found.update((key, each) for key, each in _matrix(content, order, "", 0) if key)
    return found


def _object(content: memoryview, order: Order) -> tuple[str, str]:
    """Return the name and class of an object; an empty class for everything else.

    An object has its name, its system of types and its class where an array has its sizes. The
    nameless ones hold what the objects share (from memory).
    """
    if not len(content):
        return "", ""
    _, flags, at = _element(content, 0, order)
    if len(flags) < 8 or struct.unpack_from(f"{order}I", flags)[0] & 0xFF != OPAQUE_CLASS:
        return "", ""
    texts = []
    for _ in range(3):
        _, text, at = _element(content, at, order)
        texts.append(bytes(text).decode("latin-1").strip("\0"))
    return texts[0], texts[2] or "object"


def _byte_order(data: bytes) -> Order:
    mark = data[126:128]
    if len(data) < HEADER_BYTES or mark not in (b"IM", b"MI"):
        raise ValueError("it does not begin as a MATLAB 5 to 7 file does")
    return "<" if mark == b"IM" else ">"


def _inflated(content: memoryview, most_bytes: int) -> memoryview:
    """Unpack a compressed part, as far as it may come to and no byte further."""
    unpacker = zlib.decompressobj()
    try:
        unpacked = unpacker.decompress(content, max(most_bytes, 0) + 1)
    except zlib.error as error:
        raise ValueError(f"a compressed part is damaged ({error})") from error
    if len(unpacked) > most_bytes:
        raise ValueError(
            f"its {len(content)} bytes of a compressed part unpack to more than the "
            f"{most_bytes} bytes that are accepted"
        )
    if not unpacker.eof:
        raise ValueError("a compressed part is damaged (it is cut off)")
    return memoryview(unpacked)


def _element(view: memoryview, at: int, order: Order) -> Element:
    """Return the data element at a place; short ones hold their size in the tag's upper half."""
    if at + 8 > len(view):
        raise ValueError("it ends within an element's tag")
    first, size = struct.unpack_from(f"{order}II", view, at)
    if first >> 16:
        size = first >> 16
        if size > 4:
            raise ValueError(f"a short element claims {size} bytes")
        return first & 0xFFFF, view[at + 4 : at + 4 + size], at + 8
    content = view[at + 8 : at + 8 + size]
    if len(content) < size:
        raise ValueError(f"an element claims {size} bytes where {len(content)} are left")
    padding = 0 if first == COMPRESSED else -size % 8
    return first, content, at + 8 + size + padding


def _matrix(
    content: memoryview, order: Order, prefix: str, depth: int
) -> Iterator[tuple[str, Array]]:
    """Yield the numeric arrays of one matrix element, its own or those of its fields."""
    if not len(content):  # an empty field
        return
    if depth > DEEPEST:
        raise ValueError(f"it has structs more than {DEEPEST} deep")
    _, flags, at = _element(content, 0, order)
    kind, sizes, at = _element(content, at, order)
    _, name, at = _element(content, at, order)
    if len(flags) < 8 or NUMBERS.get(kind) != "i4":
        raise ValueError("an array's header is damaged")
    flag = struct.unpack_from(f"{order}I", flags)[0]
    shape = tuple(int(size) for size in np.frombuffer(sizes, f"{order}i4"))
    path = prefix + bytes(name).decode("latin-1").strip("\0")
    if flag & 0xFF in NUMERIC_CLASSES and not flag & COMPLEX_FLAG:
        kind, values, _ = _element(content, at, order)
        yield path, _numbers(kind, values, shape, order)
    elif flag & 0xFF == STRUCT_CLASS and math.prod(shape) == 1:
        yield from _fields(content, at, order, path, depth)


def _numbers(kind: int, values: memoryview, shape: tuple[int, ...], order: Order) -> Array:
    if kind not in NUMBERS:
        raise ValueError(f"an array's values are of the unknown type {kind}")
    code = np.dtype(f"{order}{NUMBERS[kind]}")
    if min(shape, default=-1) < 0 or math.prod(shape) * code.itemsize != len(values):
        raise ValueError(f"an array of shape {shape} holds {len(values)} bytes")
    return np.frombuffer(values, code).astype(np.float64).reshape(shape, order="F")


def _fields(
    content: memoryview, at: int, order: Order, path: str, depth: int
) -> Iterator[tuple[str, Array]]:
    """Yield the numeric arrays of a struct's fields."""
    _, width, at = _element(content, at, order)
    _, names, at = _element(content, at, order)
    size = struct.unpack_from(f"{order}i", width)[0] if len(width) >= 4 else 0
    if size <= 0 or len(names) % size:
        raise ValueError("a struct's field names are damaged")
    for start in range(0, len(names), size):
        name = bytes(names[start : start + size]).split(b"\0")[0].decode("latin-1")
        kind, inner, at = _element(content, at, order)
        if kind != MATRIX:
            raise ValueError(f"the field {name!r} is damaged")
        yield from _matrix(inner, order, f"{path}.{name}", depth + 1)
