"""Every setting and every input file of the run."""

from __future__ import annotations

from collections.abc import Mapping

from twinangle.report.blocks import Block, heading, table, text
from twinangle.results import StudyResults

NOT_SET = "not set"


def provenance_section(results: StudyResults) -> list[Block]:
    """Return every setting and every input file with its hash."""
    every = flat_parameters(results.parameters)
    rows = [[name, value] for name, value in every if value != NOT_SET]
    unset = [name for name, value in every if value == NOT_SET]
    blocks: list[Block] = []
    if rows:
        blocks.append(table(("Parameter", "Value"), rows, words=2))
    if unset:
        blocks.append(text(f"Not set: {', '.join(unset)}."))
    files = [[file.path, file.sha256] for file in results.inputs]
    if files:
        blocks.append(heading("Input files"))
        blocks.append({**table(("File", "SHA-256"), files, words=2), "mono": True})
    return blocks


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
