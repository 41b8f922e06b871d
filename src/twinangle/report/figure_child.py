"""Figures from SVG to PDF, each on a page of its own size; run as a script.

    python -P figure_child.py FONTS IGNORE_SYSTEM_FONTS

What to do comes on standard input as JSON, a list of figures: their "drawing" as SVG, their "words"
for those who cannot see them, and the "files" to write. What is wrong with them goes to standard
error, with exit status 1. Imports nothing of the package: it takes a tenth of a second as a whole,
half of which that would be, and ends by itself where its parent is gone.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, Final

import typst

PAGE: Final = b"""#set document(title: sys.inputs.words, date: none)
#set page(width: auto, height: auto, margin: 0pt)
#image(bytes(sys.inputs.drawing), format: "svg", alt: sys.inputs.words)
"""


def main() -> int:
    """Write the files that are asked for; return the exit status."""
    fonts, ignore_system_fonts = sys.argv[1:]
    options: dict[str, Any] = {  # its stubs ask for one type of all paths
        "font_paths": [fonts],
        "ignore_system_fonts": ignore_system_fonts == "True",
    }
    for figure in json.load(sys.stdin.buffer):
        inputs = {name: figure[name] for name in ("drawing", "words")}
        try:
            pdf = typst.Compiler(PAGE, **options, sys_inputs=inputs).compile(format="pdf")
        except typst.TypstError as error:
            sys.stderr.buffer.write(str(error).encode())
            return 1
        assert isinstance(pdf, bytes)
        for file in figure["files"]:
            Path(file).write_bytes(pdf)
    return 0


if __name__ == "__main__":
    sys.exit(main())
