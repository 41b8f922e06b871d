"""What the sections of the study file are made of: their common rules, and kinds of values.

Messages written here are ends of sentences: the reader puts file, line and key before them.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, WithJsonSchema

from twinangle.signals.joint import JOINTS

LEFT_OPEN = "?"
OPEN_TEXT = "is '?', which `twinangle init` left open; fill it in"
"""What every reader of studies says of a place that `init` could not fill."""


def _axes(count: int, axes: str) -> AfterValidator:
    """Return a validator for `count` different column names."""

    def check(columns: tuple[str, ...]) -> tuple[str, ...]:
        if len(columns) != count or len(set(columns)) != count:
            raise ValueError(f"must name {count} different columns, {axes}")
        return columns

    return AfterValidator(check)


def _not_blank(text: str) -> str:
    if not text.strip():
        raise ValueError("must not be empty")
    if text.strip() == LEFT_OPEN:
        raise ValueError(OPEN_TEXT)
    return text


def _plus_or_minus_one(sign: int) -> int:
    if sign not in (1, -1):
        raise ValueError("must be 1, or -1 where flexion is negative in the file")
    return sign


def _known_joint(name: str) -> str:
    if name not in JOINTS:
        raise ValueError(f"must be {' or '.join(map(repr, JOINTS))}")
    return name


def _all_different(names: tuple[str, ...]) -> tuple[str, ...]:
    if not names or len(set(names)) != len(names):
        raise ValueError("must hold at least one name, and each name once")
    return names


_TEXT = {"type": "string", "pattern": r"\S", "not": {"const": LEFT_OPEN}}


def _list_of(least: int, most: int | None = None) -> WithJsonSchema:
    """Say to an editor what the validators ask of a list of names."""
    size = {"minItems": least} | ({"maxItems": most} if most is not None else {})
    return WithJsonSchema({"type": "array", "items": _TEXT, "uniqueItems": True, **size})


Text = Annotated[str, AfterValidator(_not_blank), WithJsonSchema(_TEXT)]
Positive = Annotated[float, Field(gt=0)]
ThreeColumns = Annotated[tuple[Text, ...], _axes(3, "x, y and z"), _list_of(3, 3)]
FourColumns = Annotated[tuple[Text, ...], _axes(4, "w, x, y and z"), _list_of(4, 4)]
Names = Annotated[tuple[Text, ...], AfterValidator(_all_different), _list_of(1)]
Sign = Annotated[int, AfterValidator(_plus_or_minus_one), WithJsonSchema({"enum": [1, -1]})]
JointName = Annotated[Text, AfterValidator(_known_joint), WithJsonSchema({"enum": [*JOINTS]})]
AxisName = Literal["x", "y", "z"]
AxisMethod = Literal["mean-rate", "principal-component", "hinge"]


class Section(BaseModel):
    """What all sections share: strict, frozen, finite, no unknown key."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)
