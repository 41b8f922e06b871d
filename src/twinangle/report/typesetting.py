"""What the typesetter makes, in a process of its own.

It works in threads, for which a process that is forked from here afterwards would wait without end.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from twinangle.plotting.fonts import covered, font_folder


def in_child(script: Path, places: tuple[Path, ...], content: Any, *, what: str) -> bytes:
    """Hand `content` to a script as JSON, with the typefaces, and return what it writes.

    The typefaces come with the libraries, so that the same results give the same bytes
    everywhere; those of the machine are used only for characters that the former lack.

    Parameters
    ----------
    script : Path
        Called with `places`, the folder of typefaces, and whether those of the machine are left
        out.
    places : tuple of Path
        What else it is called with.
    content : dict or list
        Plain values.
    what : str
        What cannot be made, if it fails: "the pages could not be typeset".

    Raises
    ------
    RuntimeError
        If it fails; with the typesetter's words.
    """
    data = json.dumps(content, ensure_ascii=False)
    words = (*places, font_folder(), covered(data))
    done = subprocess.run(
        [sys.executable, "-P", str(script), *map(str, words)],
        input=data.encode(),
        capture_output=True,
        check=False,
    )
    if done.returncode != 0:
        said = done.stderr.decode(errors="replace").strip() or f"status {done.returncode}"
        raise RuntimeError(f"{what}: {said}")
    return done.stdout
