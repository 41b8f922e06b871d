"""Sheets of studies with several wearables or references: what holds for which of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from twinangle.study import Study, Trial
from twinangle.wording import listing


@dataclass(frozen=True, slots=True)
class Worn:
    """One wearable or reference, or a pair of them, by its name, as a plain study has it."""

    name: str
    study: Study


def wearables_of(study: Study) -> tuple[Worn, ...]:
    """Return each wearable with a plain study of it; one without a name where there is but one."""
    parts = [(part.wearable, part.study) for part in study.parts] or [("", study)]
    return tuple(Worn(name, one) for name, one in reversed(dict(reversed(parts)).items()))


def references_of(study: Study) -> tuple[Worn, ...]:
    """Return each reference with a plain study of it, as :func:`wearables_of`."""
    parts = [(part.reference, part.study) for part in study.parts] or [("", study)]
    return tuple(Worn(name, one) for name, one in reversed(dict(reversed(parts)).items()))


def pairs_of(study: Study) -> tuple[Worn, ...]:
    """Return each wearable against each reference."""
    if not study.parts:
        return (Worn("", study),)
    return tuple(
        Worn(" with ".join(name for name in (part.wearable, part.reference) if name), part.study)
        for part in study.parts
    )


def names_of(study: Study) -> tuple[str, ...]:
    """Return the names of all instruments, "the wearable" for one without; none for a plain study.

    As the sheet says who has to see a movement or be started.
    """
    if not study.parts:
        return ()
    wearables = [one.name or "the wearable" for one in wearables_of(study)]
    has = study.reference is not None
    references = [one.name or "the reference" for one in references_of(study)] if has else []
    return (*wearables, *references)


def for_each(
    several: Iterable[Worn], lines_of: Callable[[Study], list[str]], *, many: bool = False
) -> list[str]:
    """Return the lines of each: once without a name where they hold for all, else by its name.

    Parameters
    ----------
    several : iterable of Worn
    lines_of : callable
        The lines of one, from its plain study.
    many : bool
        Say "all instruments" where a plain study's sheet says "both".
    """
    several = list(several)
    holders: dict[str, list[str]] = {}
    for one in several:
        for line in lines_of(one.study):
            holders.setdefault(_of_all(line) if many else line, []).append(one.name)
    return [
        line if len(names) == len(several) else f"{listing(names)}: {line}"
        for line, names in holders.items()
    ]


_OF_ALL = {
    "both instruments": "all instruments",
    "Both instruments": "All instruments",
    "both recordings": "all recordings",
    "both files'": "all files'",
    "stop both": "stop all",
    "into both": "into all",
    "see both channels": "see all channels",
}


def _of_all(line: str) -> str:
    for said, meant in _OF_ALL.items():
        line = line.replace(said, meant)
    return line


def in_lines(lines: list[str], role: str, name: str) -> list[str]:
    """Return what is said of one instrument with its name: "Wearable strap: …", "strap: …"."""
    if not name:
        return lines
    lead = f"{role}: "
    return [
        f"{role} {name}: {line.removeprefix(lead)}" if line.startswith(lead) else f"{name}: {line}"
        for line in lines
    ]


def own_rows(study: Study, trial: Trial) -> tuple[tuple[str, str, Study, Trial], ...]:
    """Return a row of the trials table as each pair has it: wearable, reference, study, row."""
    if not study.parts:
        return (("", "", study, trial),)
    place = [each.row for each in study.trials].index(trial.row)
    return tuple(
        (part.wearable, part.reference, part.study, part.study.trials[place])
        for part in study.parts
    )
