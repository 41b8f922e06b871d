"""The report's pages, from a template and its data to a PDF; run as a script.

    python -P typeset_child.py TEMPLATE ROOT FONTS IGNORE_SYSTEM_FONTS

The data come on standard input and the PDF leaves on standard output; what is wrong with them goes
to standard error, with exit status 1. Imports next to nothing of the package, so that it starts
quickly and that the memory of typesetting, which grows with the figures, comes on top of nothing
else.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, Final

import typst

from twinangle.platform_calls import end_with_parent

ACCESSIBLE: Final = "ua-1"  # PDF/UA-1 (ISO 14289-1): what is not so is refused


def main() -> int:
    """Typeset what the command line names; return the exit status."""
    end_with_parent()
    template, root, fonts, ignore_system_fonts = sys.argv[1:]
    options: dict[str, Any] = {  # its stubs ask for one type of all paths
        "root": root,
        "font_paths": [fonts],
        "ignore_system_fonts": ignore_system_fonts == "True",
        "sys_inputs": {"content": sys.stdin.buffer.read().decode()},
    }
    try:
        pdf = typst.Compiler(Path(template).read_bytes(), **options).compile(
            format="pdf", pdf_standards=[ACCESSIBLE]
        )
    except typst.TypstError as error:
        sys.stderr.buffer.write(str(error).encode())
        return 1
    assert isinstance(pdf, bytes)
    sys.stdout.buffer.write(pdf)
    return 0


if __name__ == "__main__":
    sys.exit(main())
