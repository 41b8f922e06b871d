"""HDF5: data sets, tables of named fields, and frames as pandas stores them, read as channels.

A data set of n numbers is one channel, called after its path with dots: `thigh.acc_x`; one of
(n, k) is k channels `name_1` … `name_k`; a field of a table is `table.field`. Texts are left out.
"""

from __future__ import annotations

from pathlib import Path

from twinangle.errors import RecordingError, closed
from twinangle.formats import mat73
from twinangle.formats.base import most_unpacked
from twinangle.formats.matlab import table_of
from twinangle.formats.request import Format, Request, Table


def read(path: Path, request: Request) -> Table:
    """Read the requested channels of an HDF5 file."""
    try:
        found = mat73.read_arrays(path, most_unpacked(path), "plain")
    except (ValueError, MemoryError) as error:
        raise RecordingError(
            f"{request.source}: is not a readable HDF5 file: {closed(error)}"
        ) from error
    return table_of(found.arrays, found.units, request)


FORMAT = Format("HDF5", (".h5", ".hdf5", ".hdf"), read)
