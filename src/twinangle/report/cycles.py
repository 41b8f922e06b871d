"""Cycles in time: their durations, bouts, and the paragraph of the methods."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from twinangle.cycles.enough import CYCLES_FOR_MEAN, CYCLES_FOR_SD
from twinangle.report.blocks import Block, Column, described, heading
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import Naming, distinct, worked_recordings
from twinangle.wording import count, listing, number, span

_METHODS = {
    "shank-gyroscope": "from the distal segment's sagittal angular rate (mid-swing peak, then "
    "initial contact; Aminian et al. 2002)",
    "angle-peak": "between successive peaks of the joint angle",
    "events": "from a list of event times",
}
_EXERCISE_METHODS = {
    "angle-peak": "between successive flexion peaks of the repetitions, each the middle of a held "
    "peak",
}


def durations_blocks(trials: Iterable[TrialResult], naming: Naming) -> list[Block]:
    """Return the durations of cycles (in walking stride times) and their variability."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            f"{summary.n_kept} / {summary.n_found}",
            str(summary.n_bouts),
            number(summary.duration_mean_s, 3),
            number(summary.duration_sd_s, 3),
            number(summary.duration_cv_percent, 1),
            number(summary.duration_sd_within_bouts_s, 3),
            number(summary.cycles_per_minute, 1),
        ]
        for trial in trials
        if (summary := trial.strides) is not None
    ]
    names = ("Participant", "Recording", "Cycles", "Bouts", "Mean (s)", "SD (s)", "CV (%)",
             "SD within bouts (s)", "Per minute")  # fmt: skip
    found = described(
        "Duration of the kept cycles (kept / found), main procedure.",
        [Column(name) for name in names],
        rows,
        words=2,
    )
    return [heading("Cycles in time"), *found] if found else []


def bouts_blocks(trials: Iterable[TrialResult], naming: Naming) -> list[Block]:
    """Return every bout of the recordings that hold more than one, each a unit."""
    rows: list[list[str]] = []
    kept: list[int] = []
    for trial in trials:
        units = trial.cycles_found.bouts if trial.cycles_found is not None else ()
        if len(units) < 2:
            continue
        for unit in units:
            strides = unit.strides
            kept.append(strides.n_kept)
            rows.append(
                [
                    trial.participant,
                    naming.heading(trial),
                    str(strides.bout),
                    number(strides.start_s, 1),
                    number(strides.end_s - strides.start_s, 1),
                    f"{strides.n_kept} / {strides.n_found}",
                    number(strides.cycles_per_minute, 1),
                    number(strides.duration_cv_percent, 1),
                    number(unit.wearable_sd_deg),
                    number(unit.reference_sd_deg),
                    number(unit.offset_deg),
                    number(unit.rms_demeaned_deg),
                ]
            )
    few = [sum(count < least for count in kept) for least in (CYCLES_FOR_MEAN, CYCLES_FOR_SD)]
    found = described(
        "Bouts (cycles without a pause between them), each a unit.",
        (
            Column("Participant"),
            Column("Recording"),
            Column("Bout"),
            Column("Start (s)"),
            Column("Length (s)"),
            Column("Cycles", "cycles: kept / found"),
            Column("Per minute", "per minute: cycles"),
            Column("CV (%)", "CV: of the cycles' duration"),
            Column("SD w. (°)", "SD w.: the wearable's, over the bout's cycles"),
            Column("SD ref. (°)", "SD ref.: the reference's"),
            Column("Offset (°)", "offset: of the bout's mean curves"),
            Column("RMS dem. (°)", "RMS dem.: of the demeaned mean curves' difference"),
        ),
        rows,
        words=2,
        end=f"Of {count(len(kept), 'bout')}, {few[0]} keep fewer than {CYCLES_FOR_MEAN} cycles, "
        f"too few for a reliable mean, and {few[1]} fewer than {CYCLES_FOR_SD}, too few for a "
        "reliable SD: numbers found for times and lengths of consecutive steps (König et al. 2014, "
        "Gait Posture 39:615), taken over for angles.",
    )
    return [heading("Bouts"), *found] if found else []


def cycles_paragraph(results: StudyResults) -> str:
    """Say how cycles were found, cut and excluded, with counts."""
    sets = [t.cycles for t in worked_recordings(results) if t.cycles is not None]
    if not sets:
        return ""
    events = _METHODS if results.walking else _METHODS | _EXERCISE_METHODS
    ways = [cycles.method.partition(" of ") for cycles in sets]
    how = listing(events.get(way, f"by {way}") for way in distinct(way for way, _, _ in ways))
    cutting = distinct(wearable for _, _, wearable in ways if wearable)
    carried = (
        f", which {listing(cutting)} cut for every wearable, carried over the clocks with what was "
        "left out of the movement"
        if cutting
        else ""
    )
    several = len(distinct(trial.wearable for trial in results.trials)) > 1
    each = ", counted for each wearable by itself" if several else ""
    found = sum(cycles.kept.size for cycles in sets)
    kept = sum(int(cycles.kept.sum()) for cycles in sets)
    points = sets[0].wearable_deg.shape[1]
    per_trial = span((float(cycles.kept.sum()) for cycles in sets), 0)
    return (
        f"Movement cycles were found {how}{carried}; both instruments were cut by the same events "
        f"on one clock and time-normalised to {points} points (0 to 100 %). Of "
        f"{count(found, 'cycle')} found{each}, {kept} were kept ({per_trial} a recording); "
        f"{_left_out(results)}cycles of outlying duration or course were left out, each with its "
        "reason. Fewer than 10 cycles for a mean or 50 for a variability were warned of; these "
        "numbers were found for times and "
        "lengths of consecutive steps (König et al. 2014) and are taken over for angles."
    )


def _left_out(results: StudyResults) -> str:
    """Name what was left out beside odd cycles, as the settings have it."""
    cycles = results.parameters.get("cycles")
    settings = cycles if isinstance(cycles, Mapping) else {}
    parts = [] if settings.get("include_calibration", True) else ["the calibration"]
    parts += ["turns"] if settings.get("turns", True) else []
    parts += ["starts", "stops"] if results.walking else []
    return "".join(f"{part}, " for part in parts)[:-2] + (" and " if parts else "")
