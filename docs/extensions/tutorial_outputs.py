"""What the cells of tutorials give: kept while the program is the same, told where absent."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # tests import this without the site's packages
    from sphinx.application import Sphinx

from twinangle.code_identity import our_code

NOTE = """
:::{note}
This page was built without running its cells: what they print and draw is not shown. `make docs`
runs them, and so does a notebook of yours.
:::
"""


def kept_outputs(folder: Path) -> tuple[str, str]:
    """Return where executed tutorials are kept, and what they were executed with.

    What another version of the program, Python or a library gave is deleted: no page shows it.
    """
    made_with = json.dumps(our_code(), indent=1)
    stamp = folder / "made-with.json"
    if not stamp.is_file() or stamp.read_text("utf-8") != made_with:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        stamp.write_text(made_with, "utf-8")
    return str(folder / "cells"), made_with


def _say_so(app: Sphinx, name: str, source: list[str]) -> None:
    """Say on a tutorial's page, under its title, that its cells were not run."""
    if app.config.nb_execution_mode == "off" and name.startswith("tutorials/"):
        source[0] = re.sub(r"(?m)^# .*$", lambda title: title[0] + "\n" + NOTE, source[0], count=1)


def setup(app: Sphinx) -> dict[str, bool]:
    """Register what marks pages without outputs; another program makes every page anew."""
    app.add_config_value("tutorials_made_with", "", "env", str)
    app.connect("source-read", _say_so)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
