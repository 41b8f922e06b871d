"""Which file is whose: one recording under two names, and pairs that hardly can be pairs."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from statistics import median

from twinangle.analysis.refused import refused
from twinangle.results import TrialResult
from twinangle.study import InertialWearable, OrientationWearable, SensorFiles, Study, Trial
from twinangle.under_test import reference_of
from twinangle.wording import listing

UNLIKE = 1.5  # times as long as the partner, where the others' partners are as long as they
ALONE = 2.0  # the same where there are too few others to tell
FEWEST = 3
DIFFER = {
    "participant": "participants",
    "session": "sessions",
    "condition": "conditions",
    "trial": "trials",
    "side": "sides",
}
Use = tuple[Trial, Path]


@dataclass(frozen=True, slots=True)
class Clash:
    """Rows of the trials table that rest on the same bytes and cannot be right."""

    rows: tuple[int, ...]
    text: str


def same_recordings(study: Study) -> tuple[Clash, ...]:
    """Return each two rows that rest on the same bytes and cannot both be right.

    Parameters
    ----------
    study : Study
        Its files are compared by their size, those of equal size by their SHA-256.

    Returns
    -------
    tuple of Clash
        One recording of two participants; one recording of a participant under two conditions,
        sessions, trials or sides, unless `start_s` and `end_s` take different parts of it; one file
        for both sensors. A reference that ran on over several recordings of a person passes, as
        does one file of standing for all of a person's trials.
    """
    trials = [trial for trial in study.trials if not trial.exclude]
    found = list(_one_file_for_both_sensors(study, trials))
    for role in ("wearable", "reference", "static", "functional"):
        uses = [(trial, path) for trial in trials for path in _paths(getattr(trial, role))]
        for group in _same_bytes(uses):
            found += _of_one_group(study, role, group)
    return tuple(found)


def refuse_same_recordings(study: Study, trials: Sequence[TrialResult]) -> tuple[TrialResult, ...]:
    """Return the results, those of rows that rest on the same bytes failed: no one knows whose.

    Parameters
    ----------
    study : Study
        Of one wearable and reference or of several; a clash concerns the pairs that use the file.
    trials : sequence of TrialResult
        All trials of the study.

    Returns
    -------
    tuple of TrialResult
    """
    reasons: dict[tuple[str, ...], str] = {}
    several = [(part.wearable, part.reference, part.study) for part in study.parts]
    for wearable, reference, own in several or [("", "", study)]:
        names = {row.row: row.identity for row in own.trials}
        for clash in same_recordings(own):
            for row in clash.rows:
                reasons.setdefault((wearable, reference, *names[row]), clash.text)

    def told(one: TrialResult) -> TrialResult:
        pair = (one.wearable, reference_of(one.procedure))
        names = (one.participant, one.session, one.condition, one.trial, one.side)
        reason = reasons.get((*pair, *names))
        return one if reason is None or one.status == "excluded" else refused(one, reason)

    return tuple(map(told, trials))


def _paths(where: object) -> tuple[Path, ...]:
    if isinstance(where, SensorFiles):
        return where.both[:1]  # the other sensor's goes with it
    return (where,) if isinstance(where, Path) else ()


def _same_bytes(uses: Sequence[Use]) -> Iterator[list[Use]]:
    """Yield the uses of equal files, two or more."""
    by_size: dict[int, list[Use]] = {}
    for use in uses:
        by_size.setdefault(_size(use[1]), []).append(use)
    for several in by_size.values():
        if len(several) < 2:
            continue
        by_bytes: dict[str, list[Use]] = {}
        digests = {path: _digest(path) for path in dict.fromkeys(path for _, path in several)}
        for use in several:
            by_bytes.setdefault(digests[use[1]], []).append(use)
        yield from (group for group in by_bytes.values() if len(group) > 1)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:  # reading it says so
        return -1


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return str(path)


def _of_one_group(study: Study, role: str, group: list[Use]) -> Iterator[Clash]:
    """Yield the first clash of each row with one before it."""
    clashing: set[int] = set()
    for (first, path), (second, other) in combinations(group, 2):
        if second.row in clashing or first.row == second.row:
            continue
        what = _clash(role, first, second)
        if what is None:
            continue
        clashing.add(second.row)
        names = list(
            dict.fromkeys(each.relative_to(study.folder).as_posix() for each in (path, other))
        )
        hold = f"{names[0]!r} and {names[1]!r} hold" if len(names) == 2 else f"{names[0]!r} holds"
        way_out = (
            "Two parts of one recording are told apart by `start_s` and `end_s`."
            if what != "participant"
            else "A recording is of one person."
        )
        text = (
            f"{study.table.name}, rows {first.row} and {second.row}, column {role!r}: {hold} the "
            f"same bytes for {DIFFER[what]} {getattr(first, what)!r} and "
            f"{getattr(second, what)!r}; give each its own file. {way_out}"
        )
        yield Clash((first.row, second.row), text)


def _clash(role: str, first: Trial, second: Trial) -> str | None:
    """Return the identifier in which two uses of one file may not differ; None where they may."""
    if first.participant != second.participant:
        return "participant"
    if role != "wearable" or not _overlap(first, second):
        return None
    return next(name for name in DIFFER if getattr(first, name) != getattr(second, name))


def _overlap(first: Trial, second: Trial) -> bool:
    """Tell whether two trials take a common part of one recording."""
    starts = [-math.inf if each.start_s is None else each.start_s for each in (first, second)]
    ends = [math.inf if each.end_s is None else each.end_s for each in (first, second)]
    return max(starts) < min(ends)


def _one_file_for_both_sensors(study: Study, trials: Sequence[Trial]) -> Iterator[Clash]:
    settings = study.wearable
    if not isinstance(settings, InertialWearable | OrientationWearable):
        return
    if settings.proximal.columns != settings.distal.columns:
        return
    for trial in trials:
        files = trial.wearable
        if isinstance(files, SensorFiles) and any(
            True for _ in _same_bytes([(trial, path) for path in files.both])
        ):
            names = [path.relative_to(study.folder).as_posix() for path in files.both]
            text = (
                f"{study.table.name}, row {trial.row}: {names[0]!r} and {names[1]!r} hold the same "
                "bytes, one sensor's; give the other sensor's file."
            )
            yield Clash((trial.row,), text)


@dataclass(frozen=True, slots=True)
class Lasting:
    """How long wearable and reference of one recording last, by their names or files."""

    where: str
    wearable_s: float
    reference_s: float
    wearable: str = ""
    reference: str = ""


def unlike_partners(*pairs: Sequence[Lasting]) -> tuple[str, ...]:
    """Return a message for each recording whose reference is of an unlikely length.

    Parameters
    ----------
    pairs : sequence of Lasting
        How long the recordings of one wearable and one reference last; of several instruments one
        sequence for each pair of them.

    Returns
    -------
    tuple of str
        Where one lasts more than 1.5 times as long as the other, beyond what the median pair of
        the study does (2 times where there are fewer than three pairs). A reference that is unlike
        several wearables, or a wearable that is unlike several references, is told once.
    """
    found = [(one, few) for lengths in pairs for one, few in _unlike(lengths)]
    by_reference: dict[tuple[str, str, bool], list[Lasting]] = {}
    for one, few in found:
        by_reference.setdefault((one.where, one.reference, few), []).append(one)
    by_wearables: dict[tuple[str, tuple[str, ...], bool], list[Lasting]] = {}
    for (where, _, few), several in by_reference.items():
        worn = tuple(
            f"{_named('the wearable', one.wearable)} of {one.wearable_s:.4g} s" for one in several
        )
        by_wearables.setdefault((where, worn, few), []).append(several[0])
    texts = []
    for (where, worn, few), against in by_wearables.items():
        lasting = listing(
            f"{_named('the reference', one.reference)} lasts {one.reference_s:.4g} s"
            for one in against
        )
        both = "both" if len(against) == len(worn) == 1 else "all"
        unlike = "" if few else ", which is unlike the other pairs"
        texts.append(
            f"{where}: {lasting}, beside {listing(worn)}{unlike}; check that "
            f"{both} are of one trial and that no file was cut off."
        )
    return tuple(texts)


def _named(role: str, name: str) -> str:
    return f"{role} {name}".rstrip()


def _unlike(lengths: Sequence[Lasting]) -> Iterator[tuple[Lasting, bool]]:
    """Yield those of unlikely length, and whether there were too few others to tell by."""
    ratios = [
        math.log(one.wearable_s / one.reference_s)
        if one.wearable_s > 0 and one.reference_s > 0
        else 0.0
        for one in lengths
    ]
    few = len(ratios) < FEWEST
    usual = 0.0 if few else median(ratios)
    most = math.log(ALONE if few else UNLIKE)
    for one, ratio in zip(lengths, ratios, strict=True):
        if abs(ratio - usual) > most:
            yield one, few
