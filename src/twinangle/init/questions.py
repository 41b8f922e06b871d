"""What a draft leaves open, in words: who was recorded, rows alike, blanks of the study file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from twinangle.init.folder_contents import Found, Row
from twinangle.init.paths import person_in
from twinangle.naming import listed

OTHER_CHANNELS = (
    "has other channels than most files of its kind, and one section of study.toml reads one "
    "layout; if it is of a second device worn at once, it needs [wearables.NAME] and a column "
    "wearable_NAME (docs/how-to/several-instruments.md)."
)
IDENTIFIERS = ("participant", "session", "condition", "trial", "side")
MOST = 6


def asked_of_people(trials: Sequence[Found], rows: Sequence[Row]) -> list[str]:
    """Ask who was recorded where no part of the names is a code such as P01."""
    guessed = [
        row["participant"]
        for each, row in zip(trials, rows, strict=True)
        if not person_in(each.place.tokens)[1]
    ]
    people = dict.fromkeys(guessed)
    if not people:
        return []
    told = [each for each in people if each != "?"]
    taken = f"; taken for participants: {listed(told, most=MOST)}" if told else ""
    unknown = " A ? stands where nothing tells." if "?" in people else ""
    said = (
        f"trials.csv: who was recorded, for these names have no code such as P01 or sub-01{taken}."
        f"{unknown}"
    )
    return [said]


def rows_alike(rows: Sequence[Row]) -> list[str]:
    """Say which rows have the same participant, session, condition, trial and side."""
    of_key: dict[tuple[str, ...], list[int]] = {}
    for k, row in enumerate(rows):
        key = tuple(row.get(name, "") for name in IDENTIFIERS)
        of_key.setdefault(key, []).append(k + 2)  # the header is the first row
    alike = [numbers for numbers in of_key.values() if len(numbers) > 1]
    if not alike:
        return []
    shown = "; ".join(f"rows {', '.join(map(str, each))}" for each in alike[:MOST])
    more = f"; and {len(alike) - MOST} more" if len(alike) > MOST else ""
    said = (
        "trials.csv: by their names these recordings have the same participant, session, "
        f"condition, trial and side, and need a `trial` or `condition` each: {shown}{more}."
    )
    return [said]


def left_open(study: str) -> list[str]:
    """Return a line for each blank of a study file, the same of several sections once."""
    found: dict[str, list[str]] = {}
    for section, line in _blanks(study):
        found.setdefault(line, []).append(section)
    return [
        f"study.toml: {line}" + (f" (in {', '.join(sections)})" if len(sections) > 1 else "")
        for line, sections in found.items()
    ]


def _blanks(study: str) -> Iterator[tuple[str, str]]:
    section = ""
    for line in study.splitlines():
        if line.startswith("["):
            section = line.partition("]")[0] + "]"
        if '"?' in line:
            yield section, line.strip()
