"""One walk in two rows: the same samples in two files, or the same time of one reference.

Files that are copies of each other are known by their bytes (people_and_files.py). A file that was
mended, cut or written anew has other bytes, but its samples are those of the first; and whatever
became of them, two rows that meet one reference at one time are of one walk.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from filecmp import cmp
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from twinangle.analysis.analysed_part import analysed
from twinangle.notices import Notice
from twinangle.results import TrialResult
from twinangle.signals.recording import Recording
from twinangle.study import Study, Trial
from twinangle.under_test import reference_of

Marks = NDArray[np.uint64]
Spans = NDArray[np.float64]  # begin and end of each cycle

# Own rules, no source.
_NUMBERS = 128  # of a window: no two stretches of a movement agree in so many by chance
_LEAST_WINDOW = 8  # samples
_ONE_IN = 16  # windows, by their hash: the same ones in every file
_FEWEST = 4  # marks in common, of about 64 windows
_CYCLES = 2.0  # that two rows have in common on the reference's clock; one may lie across a limit
WAY_OUT = (
    "One walk counts once: give the rows parts that do not overlap (`start_s`, `end_s`), or leave "
    "one of them out, with the reason in its column `exclude`. To analyse a walk in two ways write "
    "a study file for each, and hold their results against each other with `twinangle compare`."
)


def marks_of(trial: Trial, recording: Recording) -> Marks:
    """Return numbers by which samples that a row analyses are known again in another file.

    Parameters
    ----------
    trial : Trial
        With its limits: of what lies beside them there are no marks.
    recording : Recording
        The wearable's, on a uniform clock; its times do not enter.

    Returns
    -------
    ndarray of uint64, shape (k,)
        In order, each once: hashes of windows of samples, one window in 16. A window with a gap, or
        one of which half repeats the sample before (a device that holds its value, or is still),
        has none.

    Notes
    -----
    A window is 128 values long, at least 8 samples. Its hash is the sum of its values' 64 bits,
    mixed, each times an odd number that depends on channel and place, modulo 2^64.
    """
    values, part = recording.values, analysed(trial)
    if part is not None:
        time = recording.time_s
        values = values[(time >= part.start_s) & (time <= part.end_s)]
    n_samples, n_channels = values.shape
    size = max(_LEAST_WINDOW, -(-_NUMBERS // max(n_channels, 1)))
    if n_samples < size or not n_channels:
        return no_marks()
    odd = np.random.default_rng(0).integers(0, 2**63, n_channels + size, dtype=np.uint64) * 2 + 1
    by_sample = (_mixed(values) * odd[:n_channels]).sum(axis=1)
    by_window = np.zeros(n_samples - size + 1, dtype=np.uint64)
    for k in range(size):
        by_window += by_sample[k : k + by_window.size] * odd[n_channels + k]
    gap = np.isnan(values).any(axis=1)
    still = np.concatenate(([False], (values[1:] == values[:-1]).all(axis=1)))
    told = ~sliding_window_view(gap, size).any(axis=1)
    told &= sliding_window_view(still, size).sum(axis=1) < size / 2
    high = by_window >> np.uint64(40)  # the low bits of a product hang on the low bits alone
    return np.unique(by_window[told & (high % np.uint64(_ONE_IN) == 0)])


def _mixed(values: NDArray[np.float64]) -> Marks:
    """Return the values' bits with each spread over all 64: whole numbers have but a few high ones.

    By turns the high bits are laid over the low ones and the whole is multiplied by an odd number.
    """
    bits = np.ascontiguousarray(values).view(np.uint64)
    for factor in np.random.default_rng(1).integers(0, 2**63, 2, dtype=np.uint64) * 2 + 1:
        bits = (bits ^ (bits >> np.uint64(33))) * factor
    return bits ^ (bits >> np.uint64(33))


def no_marks() -> Marks:
    """Return the marks of nothing."""
    return np.zeros(0, dtype=np.uint64)


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """One row with the marks of its samples."""

    participant: str
    row: int
    source: str
    file: Path | None  # None for what is no single file
    marks: Marks


def shared_samples(table: str, rows: Sequence[Marked]) -> tuple[str, ...]:
    """Return a message for each two rows of one person whose files hold the same samples.

    Parameters
    ----------
    table : str
        Name of the trials table.
    rows : sequence of Marked
        Of one wearable. One file in two rows and files of the same bytes are passed over: they are
        told by :func:`twinangle.analysis.people_and_files.same_recordings`.
    """
    found = []
    for first, second in combinations(rows, 2):
        if first.participant != second.participant or first.source == second.source:
            continue
        common = np.intersect1d(first.marks, second.marks, assume_unique=True).size
        if common < _FEWEST or _alike(first.file, second.file):
            continue
        least = min((first, second), key=lambda one: one.marks.size)
        share = round(100 * common / least.marks.size)
        found.append(
            f"{table}, rows {first.row} and {second.row}, column 'wearable': "
            f"{first.source!r} and {second.source!r} hold the same samples within what the two "
            f"rows analyse ({max(share, 1)} % of row {least.row}), so that one walk would count "
            f"twice. {WAY_OUT}"
        )
    return tuple(found)


def _alike(first: Path | None, second: Path | None) -> bool:
    """Whether two files have the same bytes, which is told elsewhere."""
    return first is not None and second is not None and cmp(first, second, shallow=False)


def with_walks_told(study: Study, trials: Sequence[TrialResult]) -> tuple[TrialResult, ...]:
    """Return the results, with a grave warning where two rows' cycles are of one walk.

    Parameters
    ----------
    study : Study
        For the files of its rows.
    trials : sequence of TrialResult
        Of however many wearables, references and procedures.

    Returns
    -------
    tuple of TrialResult
        Two rows of one person and side with one reference's file are of one walk where their kept
        cycles overlap on its clock by two cycles or more.
    """
    told: dict[int, list[Notice]] = {}
    for file, numbers in _met(study, trials):
        spans = {row: _on_reference(trials[number]) for row, number in numbers.items()}
        for first, second in combinations(spans, 2):
            for text in _twice(study, file, (first, second), (spans[first], spans[second])):
                told.setdefault(numbers[first], []).append(text)
                told.setdefault(numbers[second], []).append(text)
    return tuple(
        replace(one, warnings=(*one.warnings, *told[k])) if k in told else one
        for k, one in enumerate(trials)
    )


def _met(study: Study, trials: Sequence[TrialResult]) -> Iterator[tuple[Path, dict[int, int]]]:
    """Yield each reference's file with the results held against it, a person, side and pair each.

    The results by number, the first of each row of the table.
    """
    several = [(part.wearable, part.reference, part.study) for part in study.parts]
    files = {
        (wearable, reference, *row.identity): row
        for wearable, reference, own in several or [("", "", study)]
        for row in own.trials
    }
    met: dict[tuple[str, str, str, str, Path], dict[int, int]] = {}
    for number, one in enumerate(trials):
        pair = (one.wearable, reference_of(one.procedure))
        row = files.get((*pair, one.participant, one.session, one.condition, one.trial, one.side))
        if row is not None and isinstance(row.reference, Path) and _compared(one):
            key = (*pair, one.participant, one.side, row.reference)
            met.setdefault(key, {}).setdefault(row.row, number)
    for key, numbers in met.items():
        yield key[-1], numbers


def _compared(one: TrialResult) -> bool:
    """Whether a result has kept cycles on its reference's clock."""
    if one.synchronisation is None or one.cycles is None or one.cycles.reference_deg is None:
        return False
    return bool(one.cycles.kept.any())


def _twice(
    study: Study, file: Path, rows: tuple[int, int], spans: tuple[Spans, Spans]
) -> Iterator[Notice]:
    a, b = spans
    start, end = np.maximum(a[:, :1], b[:, 0]), np.minimum(a[:, 1:], b[:, 1])
    common_s = float(np.clip(end - start, 0, None).sum())
    if common_s < _CYCLES * float(np.median(np.diff(np.concatenate([a, b]), axis=1))):
        return
    name = file.relative_to(study.folder).as_posix()
    text = (
        f"{study.table.name}, rows {rows[0]} and {rows[1]}: their cycles lie at the same time of "
        f"{name} for {common_s:.1f} s, so that one walk counts twice in what is pooled. {WAY_OUT}"
    )
    yield Notice(text, "one-walk-twice", "grave", common_s)


def _on_reference(one: TrialResult) -> Spans:
    """Return begin and end of the kept cycles on the reference's clock, (k, 2)."""
    cycles, clock = one.cycles, one.synchronisation
    assert cycles is not None
    assert clock is not None
    ends = np.column_stack([cycles.start_s[cycles.kept], cycles.end_s[cycles.kept]])
    return np.asarray(clock.to_reference(ends.ravel())).reshape(-1, 2)
