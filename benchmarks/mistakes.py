"""Run the whole catalogue of mistakes and print, for each, what the tool says.

    python benchmarks/mistakes.py            every mistake, with the words of its first message
    python benchmarks/mistakes.py NAME ...   these alone, with every message
    python benchmarks/mistakes.py --write    the tables of docs/reference/mistakes.md, without a run

Exit status 1 where a mistake is not what the catalogue says.
"""

from __future__ import annotations

import sys
import tempfile
import time
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "mistakes"))

from catalogue import MISTAKES, Mistake, as_table  # noqa: E402
from judging import against, numbers_line, outcome_of  # noqa: E402
from scene import Scene, Told, tell, write_honest  # noqa: E402

DOCS = ROOT / "docs" / "reference" / "mistakes.md"
BEGIN = "<!-- the tables below are written by benchmarks/mistakes.py --write -->\n\n"


def write_docs() -> None:
    text = DOCS.read_text(encoding="utf-8")
    DOCS.write_text(text[: text.index(BEGIN)] + BEGIN + as_table(), encoding="utf-8")


def run(chosen: list[Mistake], *, whole: bool) -> int:
    with tempfile.TemporaryDirectory() as place:

        @cache
        def study(walk_s: float) -> tuple[Path, Told]:
            honest = write_honest(Path(place) / f"honest{walk_s:g}", walk_s)
            return honest, tell(Scene(honest, Path(place) / f"clean{walk_s:g}").folder)

        wrong = 0
        for one in chosen:
            honest, clean = study(one.walk_s)
            begun = time.process_time()
            told = outcome_of(one, honest)
            fault = against(one, told, clean)
            wrong += bool(fault)
            took = time.process_time() - begun
            print(f"{'WRONG' if fault else one.outcome:15} {took:4.1f} s  {one.name}: "
                  f"offset, RMS {numbers_line(told)}")  # fmt: skip
            said = [text for text in told.text.split("\n") if text not in clean.text]
            for text in said if whole else said[:1]:
                print(f"    {text if whole else text[:240]}")
            if fault:
                print(f"    !! {fault if whole else fault[:100]}")
    print(f"{len(chosen)} mistakes, {wrong} not as the catalogue says")
    return int(wrong > 0)


def main(words: list[str]) -> int:
    if words == ["--write"]:
        write_docs()
        return 0
    chosen = [one for one in MISTAKES if not words or one.name in words]
    return run(chosen, whole=bool(words))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
