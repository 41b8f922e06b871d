"""A run once more from its study, held against what it wrote; and two runs held together."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from twinangle.errors import StudyError
from twinangle.output_folder import settle
from twinangle.output_folder.journal import edited, listed
from twinangle.results.changes import KINDS, Change, asked_first, changes, topic_of
from twinangle.results.read_back import read_results
from twinangle.run import STUDY_PLACE, run_into
from twinangle.study import read_study
from twinangle.wording import count

SHOWN = 12  # of a kind; the rest are counted unless all are asked for
SHOWN_OF_TOPIC = 4  # numbers of each topic
_WORDS = {
    "version": ("version of twinangle", "versions of twinangle"),
    "input": ("input file", "input files"),
    "setting": ("setting", "settings"),
    "number": ("number", "numbers"),
    "wording": ("text", "texts"),
}


@dataclass(frozen=True, slots=True)
class Verified:
    """What came of a recomputation; `edited` is None where the run's own list is not there."""

    folder: Path
    study: Path
    changes: tuple[Change, ...]
    edited: tuple[str, ...] | None
    n_trials: int

    @property
    def holds(self) -> bool:
        """Whether all is as it was written; another version that finds the same does no harm."""
        return not self.edited and all(change.kind == "version" for change in self.changes)

    def lines(self, *, everything: bool = False) -> list[str]:
        """Return what to tell a reader."""
        lines = told(self.changes, everything=everything)
        if self.edited is None:
            lines.append(
                "Whether files were edited since the run is not known: its own list of them "
                "(a hidden file) is not in the folder."
            )
        elif self.edited:
            lines.append(f"Not as the run wrote them: {', '.join(self.edited)}.")
        if not self.holds:
            return [*lines, f"{self.folder} is not what {self.study} gives: see above."]
        trials = count(self.n_trials, "trial and procedure", "trials and procedures")
        held = f"{self.folder} is what {self.study} gives: every number of {trials}"
        return [*lines, f"{held} is the same."]


def verify(
    folder: str | Path,
    study: str | Path | None = None,
    *,
    jobs: int = 1,
    allow_own_procedures: bool = False,
    on_begin: Callable[[int], None] | None = None,
    on_trial: Callable[[str], None] | None = None,
) -> Verified:
    """Recompute a finished run from its study and say what is not the same.

    Nothing kept from earlier runs is used. What is recomputed goes to a folder of its own that is
    removed afterwards; `folder` stays as it is, but for an unfinished switch of a run that was
    stopped, which is completed first.

    Parameters
    ----------
    folder : Path
        Of results, as :func:`twinangle.run.run_into` wrote it.
    study : Path, optional
        The study file; where it is not given, the place that the run noted.
    jobs : int
        Recordings analysed at the same time.
    allow_own_procedures : bool
        Run the Python functions that the study file names.
    on_begin : callable, optional
        Called with the number of recordings when the work begins.
    on_trial : callable, optional
        Called with a trial's name when it is done.

    Raises
    ------
    StudyError
        If there are no results, the study is not found, or it cannot be read.
    """
    folder = Path(folder)
    settle(folder)
    before = read_results(folder)
    place = Path(study) if study is not None else noted_study(folder)
    loaded = read_study(place, allow_own_procedures=allow_own_procedures)
    if on_begin is not None:
        on_begin(sum(not trial.exclude for trial in loaded.trials))
    with tempfile.TemporaryDirectory(prefix="twinangle-verify-") as scratch:
        again = Path(scratch) / "results"
        run_into(loaded, again, jobs=jobs, image_formats=_formats(folder), on_trial=on_trial)
        after = read_results(again)
    return Verified(folder, place, changes(before, after), edited(folder), len(before.trials))


def compare(before: str | Path, after: str | Path) -> tuple[Change, ...]:
    """Return what tells two finished runs apart.

    Raises
    ------
    StudyError
        If one of the folders holds no results.
    """
    for folder in (before, after):
        settle(Path(folder))
    return changes(read_results(before), read_results(after))


def noted_study(folder: Path) -> Path:
    """Return the study file that a run noted in its folder.

    Raises
    ------
    StudyError
        If none is noted, or it is not there any more.
    """
    note = folder / STUDY_PLACE
    try:
        text = note.read_text(encoding="utf-8").strip()
    except (OSError, ValueError):
        raise StudyError(
            f"{folder}: it is not noted which study this was made from ({STUDY_PLACE} is not "
            "there). Name it: --study STUDY."
        ) from None
    place = Path(os.path.normpath(folder / text))
    if not text or "\n" in text or not place.is_file():
        raise StudyError(
            f"{note}: there is no study file at {text!r}, seen from the results. If one of them "
            "was moved, name the study: --study STUDY."
        )
    return place


def told(found: Sequence[Change], *, everything: bool = False) -> list[str]:
    """Return lines on changes, kind by kind and topic by topic, what is asked first before.

    Of each kind the first `SHOWN`, of numbers the first `SHOWN_OF_TOPIC` of each topic, unless all;
    of the rest how many there are, and where they stand.
    """
    lines = []
    for kind in KINDS:
        alike = sorted((each for each in found if each.kind == kind), key=asked_first)
        if not alike:
            continue
        lines.append(f"{count(len(alike), *_WORDS[kind])} changed:")
        numbers = kind == "number"
        topics = dict.fromkeys(topic_of(each.place) if numbers else "" for each in alike)
        most = len(alike) if everything else SHOWN_OF_TOPIC if numbers else SHOWN
        left = {}
        for topic in topics:
            own = [each for each in alike if not numbers or topic_of(each.place) == topic]
            lines += [f"  {change.summary()}" for change in own[:most]]
            left[topic] = max(len(own) - most, 0)
        if any(left.values()):
            lines.append(f"  and {_left_over(left)}; --all lists them")
    return lines


def _left_over(left: dict[str, int]) -> str:
    """Return how many changes are not listed, of which topics, and where they stand."""
    total = f"{sum(left.values())} more"
    named = ", ".join(f"{topic} {n}" for topic, n in left.items() if topic and n)
    return f"{total} ({named}; all in results.json of both)" if named else total


def _formats(folder: Path) -> tuple[str, ...]:
    """Return the further formats of figures that a run wrote."""
    endings = {Path(name).suffix for name in listed(folder)}
    return tuple(name for name in ("png", "tiff") if f".{name}" in endings)
