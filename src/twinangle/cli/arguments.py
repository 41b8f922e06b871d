"""Arguments that several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

StudyPath = Annotated[Path, typer.Argument(help="The study file, study.toml.", show_default=False)]
Jobs = Annotated[int, typer.Option(min=1, help="Trials analysed at the same time.")]
OwnProcedures = Annotated[
    bool,
    typer.Option(
        "--allow-own-procedures",
        help="Run the Python functions that the study file names as module:function. "
        "Only for study files that you trust.",
    ),
]
Image = Annotated[
    list[str] | None,
    typer.Option(
        help="Write each figure beside SVG in this format too: pdf, png or tiff. May be repeated."
    ),
]


def image_formats(names: list[str] | None) -> tuple[str, ...]:
    """Return the formats asked for, or stop with a usage error."""
    from twinangle.report.document import IMAGE_FORMATS

    for name in names or ():
        if name not in IMAGE_FORMATS:
            known = ", ".join(IMAGE_FORMATS)
            raise typer.BadParameter(f"{name!r} is not one of {known}.", param_hint="'--image'")
    return tuple(dict.fromkeys(names or ()))
