"""British spelling: codespell's misspellings, and its British-American list the other way round.

python docs/extensions/spelling.py PATH…

codespell's list leads from British to American words; here an American word is the fault. Names
that libraries gave (`color=`, `.normalize(`) and titles of works stay: `[tool.codespell]`.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from importlib.resources import files
from pathlib import Path

# Also British words, with a meaning of their own.
BRITISH_TOO = {
    "analog", "biased", "license", "licensed", "math", "meter", "meters", "practice", "program",
    "routing", "writable",
}  # fmt: skip


def american_words() -> str:
    """Return codespell's list of American words, each with its British one."""
    listed = files("codespell_lib").joinpath("data/dictionary_en-GB_to_en-US.txt")
    pairs = (line.split("->") for line in listed.read_text("utf-8").splitlines())
    return "".join(
        f"{american}->{british}\n" for british, american in pairs if american not in BRITISH_TOO
    )


def main(paths: list[str]) -> int:
    """Check the files, and return codespell's exit status."""
    with tempfile.TemporaryDirectory() as folder:
        words = Path(folder) / "american.txt"
        words.write_text(american_words(), "utf-8")
        call = ["-m", "codespell_lib", "--builtin", "clear,rare", "-D", "-", "-D", str(words)]
        return subprocess.run([sys.executable, *call, *paths], check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
