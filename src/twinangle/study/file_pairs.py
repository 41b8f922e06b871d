"""One file a sensor: how the two files are called."""

from __future__ import annotations

import re
from typing import Annotated, Self

from pydantic import AfterValidator, model_validator

from twinangle.declare import number
from twinangle.study.section import Section, Text

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


def _file_pattern(pattern: str) -> str:
    rest = PLACEHOLDER.sub("", pattern)
    if "{" in rest or "}" in rest or not all(map(str.strip, PLACEHOLDER.findall(pattern))):
        raise ValueError("has a brace too many; a placeholder is a column's name in { and }")
    if rest == pattern:
        raise ValueError('needs a placeholder, as "{wearable}_thigh.csv"')
    return pattern


FilePattern = Annotated[Text, AfterValidator(_file_pattern)]


class SensorFilePatterns(Section):
    """`[wearable.files]`: one file a sensor; `{column}` stands for a cell of the trial's row."""

    proximal: Annotated[
        FilePattern,
        number(
            'name of the proximal sensor\'s file, such as `"{wearable}_thigh.csv"`; '
            "`{column}` stands for a cell of the trial's row"
        ),
    ]
    distal: Annotated[
        FilePattern, number('name of the distal sensor\'s file, such as `"{wearable}_shank.csv"`')
    ]

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.proximal == self.distal:
            raise ValueError("names the same file for both sensors; leave the section out then")
        return self

    @property
    def placeholders(self) -> tuple[str, ...]:
        """The columns of the trials table that the patterns name, each once."""
        return tuple(dict.fromkeys(PLACEHOLDER.findall(self.proximal + self.distal)))
