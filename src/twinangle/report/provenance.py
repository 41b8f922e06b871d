"""Every setting and every input file of the run.

What a changed setting changes stands in the report: the supplement holds what the recordings gave,
so that it is the same, and not made again, when a run differs in its margin alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from twinangle.report.blocks import Block, table, text
from twinangle.report.equivalence import margin_paragraph
from twinangle.results import StudyResults

NOT_SET = "not set"
SETTINGS = ".toml"  # how a study file ends, and no recording
OF_PAGES = "report"  # the section that no number rests on


def settings_section(results: StudyResults) -> list[Block]:
    """Return the margin in words, and every setting that numbers rest on."""
    blocks: list[Block] = []
    if margin := margin_paragraph(results):
        blocks.append(text(f"{margin} The works are listed in methods.txt."))
    numbers = {name: said for name, said in results.parameters.items() if name != OF_PAGES}
    rows = [[section, said] for section, said in _settings(numbers)]
    if rows:
        head = ("Section", "Settings of the study file, with the defaults of those it leaves out")
        blocks.append({**table(head, rows, words=2), "slim": True})
    return blocks


def files_section(results: StudyResults) -> list[Block]:
    """Return every input file but the study file, each with its hash."""
    files = [
        [file.path, file.sha256] for file in results.inputs if not file.path.endswith(SETTINGS)
    ]
    if not files:
        return []
    return [
        text("The study file's SHA-256 is in `tables/inputs.csv`, its settings are in the report."),
        {**table(("File", "SHA-256"), files, words=2), "mono": True},
    ]


def _settings(parameters: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    """Yield each section, and all that it says in one text; those that say the same together."""
    sections: dict[str, list[tuple[str, str]]] = {}
    for name, value in flat_parameters(parameters):
        section, _, key = name.rpartition(".")
        sections.setdefault(section, []).append((key, value))
    alike: dict[str, list[str]] = {}
    for section, settings in sections.items():
        said = [f"`{key}` {value}" for key, value in settings if value != NOT_SET]
        unset = [f"`{key}`" for key, value in settings if value == NOT_SET]
        words = "; ".join([*said, *([f"not set: {', '.join(unset)}"] if unset else [])])
        alike.setdefault(words, []).append(section)
    for words, (first, *others) in alike.items():
        yield first, f"{words}. The same: {', '.join(others)}" if others else words


def flat_parameters(parameters: Mapping[str, object], prefix: str = "") -> list[tuple[str, str]]:
    """Return nested parameters as (joined name, shown value), in their own order."""
    found: list[tuple[str, str]] = []
    for key, value in parameters.items():
        name = f"{prefix}{key}"
        if isinstance(value, Mapping):
            found += flat_parameters(value, f"{name}.")
        elif value is None:
            found.append((name, NOT_SET))
        elif isinstance(value, list | tuple):
            found.append((name, ", ".join(map(str, value)) or "none"))
        else:
            found.append(
                (name, {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value))
            )
    return found
