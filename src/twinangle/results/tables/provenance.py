"""Tables of what a run rests on: the field by condition, input files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from twinangle.declare import WhereGiven, data, number
from twinangle.results.model import StudyResults
from twinangle.results.tables.columns import Table, row_of
from twinangle.results.tables.magnetic_field import fields_by_condition


@dataclass(frozen=True, slots=True)
class FieldRow:
    """The magnetic field at one sensor over the recordings of one condition."""

    condition: Annotated[str, number("condition, as the trials table names it")]
    wearable: Annotated[str, number("name of the wearable"), WhereGiven()]
    segment: Annotated[str, number("segment that carries the sensor: proximal or distal")]
    n_recordings: Annotated[int, number("recordings that tell of the field")]
    disturbed_share: Annotated[float, number("share of the samples disturbed, mean of recordings")]
    disturbed_share_min: Annotated[float, number("the smallest of a recording")]
    disturbed_share_max: Annotated[float, number("the largest of a recording")]
    norm_deviation_rms: Annotated[
        float | None, number("RMS deviation of the field's norm, a share of the undisturbed norm")
    ]
    dip_deviation_rms_deg: Annotated[float | None, data("RMS deviation of the field's dip")]
    n_with_reference: Annotated[int, number("recordings with a reference")]
    error_correlation: Annotated[
        float | None, number("mean rank correlation between the field's deviation and the error")
    ]


def _field_rows(results: StudyResults) -> Iterator[FieldRow]:
    for row in fields_by_condition(results):
        yield row_of(FieldRow, row)


@dataclass(frozen=True, slots=True)
class InputRow:
    """One file that the results rest on."""

    path: Annotated[str, number("path, relative to the study file")]
    sha256: Annotated[str, number("SHA-256 of its bytes")]


def _input_rows(results: StudyResults) -> Iterator[InputRow]:
    for file in results.inputs:
        yield row_of(InputRow, file)


STUDY_TABLES = (
    Table("magnetic_field", "the magnetic field by condition", FieldRow, _field_rows),
    Table("inputs", "files that the results rest on", InputRow, _input_rows),
)
