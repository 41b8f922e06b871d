"""Pages on single recordings: the table of all of them, and a section a participant."""

from __future__ import annotations

import math
from collections.abc import Sequence

from twinangle.options import Options
from twinangle.report.blocks import (
    Block,
    Column,
    Figures,
    added_sd,
    described,
    figure,
    heading,
    text,
    with_interval,
)
from twinangle.report.curves import SAYS_NOTHING, correlation
from twinangle.results import StudyResults, TrialResult
from twinangle.results.decided import BY_HAND
from twinangle.results.grouping import (
    Naming,
    TrialGroup,
    distinct,
    participants,
    trial_groups,
    warnings_of,
)
from twinangle.wording import NOTHING, breakable, degrees, listing, number

TRIAL = (
    Column("Participant"),
    Column("Condition"),
    Column("Recording"),
    Column("Procedure"),
    Column("Cycles", "cycles: kept / found"),
    Column("Lag (s)", "lag and drift: added to the reference's clock"),
    Column("Drift (ppm)"),
    Column("Offset", "offset, RMS of the demeaned curves and difference of ranges compare the mean "
           "curves (wearable − reference)"),
    Column("RMS dem."),
    Column("Range"),
    Column("r", "r: their correlation, which is not agreement"),
    Column("SD w.", "SD w.: the wearable's over cycles"),
    Column("SD ref.", "SD ref.: the reference's"),
)  # fmt: skip
BESIDE = (
    Column("Participant"),
    Column("Condition"),
    Column("Recording"),
    Column("Procedure"),
    Column("Kept / all (outliers)", "all: every cycle of the movement (kept, in turns, starts and "
           "stops, outliers, left out by hand)"),
    Column("SD w. all", "SD all: over all of them"),
    Column("Change w.", "change: what leaving cycles out changed in the SD; in brackets what the "
           "rules for outliers alone did"),
    Column("SD ref. all"),
    Column("Change ref."),
    Column("Seconds", "over time: sample by sample over the seconds that both instruments "
           "recorded, with or without cycles"),
    Column("Offset over time", "offset over time: mean difference"),
    Column("RMS over time", "RMS over time: once both are demeaned"),
)  # fmt: skip
FURTHER = (
    Column("Participant"),
    Column("Condition"),
    Column("Recording"),
    Column("Procedure"),
    Column("Range", "range: difference of the mean curves' ranges"),
    Column("SD difference", "SD difference: wearable − reference"),
    Column("SD added", "SD added: what the wearable adds, √(w² − r²), none where it varies less"),
)
PAGE = (
    Column("Procedure"),
    Column("Cycles", "cycles: kept / found"),
    Column("Offset", "offset: of the mean curves as recorded"),
    Column("Offset zeroed", "offset zeroed: with both instruments zeroed at neutral standing"),
    Column("RMS dem.", "RMS dem.: of the demeaned mean curves"),
    Column("± clock", "± clock: how far that RMS moves within the error of the lag"),
    Column("SD wearable", "SDs: over cycles"),
    Column("SD reference"),
    Column("Ratio of SDs", "ratio: the wearable's over the reference's"),
)
OWN_CYCLES = (
    "In degrees; in brackets {level} intervals over this recording's own cycles, which say nothing "
    "of other people."
)
FEW_CYCLES = (
    "Below 20 cycles the intervals' coverage is below nominal where neighbouring cycles resemble "
    "each other strongly (serial correlation above 0.5)."
)
ALL_ALIKE = f"The mean curves' correlation is above {SAYS_NOTHING} wherever it is not given."


def every_trial(results: StudyResults) -> list[Block]:
    """Return the table of all trials and procedures that worked."""
    naming = Naming(results)
    worked = [trial for trial in results.trials if trial.status == "ok"]
    if not worked:
        return []
    rows = [
        [trial.participant, trial.condition, naming.recording(trial), *_trial_numbers(trial)]
        for trial in worked
    ]
    alike = any(t.agreement is not None and t.agreement.correlation > SAYS_NOTHING for t in worked)
    return [
        *described(
            "One row a recording and procedure; degrees unless named otherwise.",
            TRIAL,
            rows,
            words=4,
            end=ALL_ALIKE if alike else "",
        ),
        *_further_numbers(worked, naming, results.options),
        *_beside_kept_cycles(results.trials, naming),
    ]


def _further_numbers(trials: list[TrialResult], naming: Naming, options: Options) -> list[Block]:
    """Return the numbers that have no room on the participants' pages, with their intervals."""
    rows = [
        [
            trial.participant,
            trial.condition,
            naming.recording(trial),
            trial.procedure,
            with_interval(curves.range_difference, curves.range_difference_ci),
            with_interval(both.difference, both.difference_ci),
            added_sd(both.added_sd, both.added_sd_ci),
        ]
        for trial in trials
        if (curves := trial.agreement) is not None
        and (both := trial.variability_compared) is not None
    ]
    return described(
        f"Recordings with a reference: further numbers, in degrees, with {options.level} intervals "
        "over each recording's own cycles.",
        FURTHER,
        rows,
        words=4,
        end="Offset, RMS and SDs with intervals are on the participants' pages.",
    )


def _beside_kept_cycles(trials: Sequence[TrialResult], naming: Naming) -> list[Block]:
    """Return the SDs over all cycles, and what the instruments differ by sample by sample."""
    rows = []
    for trial in trials:
        effect, time, cycles = trial.exclusions, trial.over_time, trial.cycles
        if effect is None and time is None:
            continue
        kept = None if cycles is None else int(cycles.kept.sum())
        of_effect = (
            [NOTHING] * 5
            if effect is None
            else [
                f"{kept} / {effect.n_all} ({effect.n_outliers})",
                number(effect.test_sd_all),
                _change(effect.test_sd_change, effect.test_sd_outlier_change),
                number(effect.reference_sd_all),
                _change(effect.reference_sd_change, effect.reference_sd_outlier_change),
            ]
        )
        of_time = (
            [NOTHING] * 3
            if time is None
            else [number(time.duration_s, 1), number(time.offset), number(time.rms_demeaned)]
        )
        where = [trial.participant, trial.condition, naming.recording(trial), trial.shown]
        rows.append([*where, *of_effect, *of_time])
    return described("Beside the kept cycles, in degrees.", BESIDE, rows, words=4)


def _change(change: float, of_outliers: float) -> str:
    """Return a change, and in brackets the part of it that the rules for outliers made."""
    return f"{number(change)} ({number(of_outliers)})" if math.isfinite(change) else NOTHING


def _numbers_with_intervals(trial: TrialResult) -> list[str]:
    """Return one procedure's numbers on a recording, with their intervals."""
    curves, both, cycles = trial.agreement, trial.variability_compared, trial.cycles
    cost = trial.timing_cost
    sds = (trial.wearable_variability, trial.reference_variability)
    return [
        trial.shown,
        NOTHING if cycles is None else f"{int(cycles.kept.sum())} / {cycles.kept.size}",
        NOTHING if curves is None else with_interval(curves.offset, curves.offset_ci),
        with_interval(trial.offset_zeroed_deg, trial.offset_zeroed_ci_deg),
        NOTHING if curves is None else with_interval(curves.rms_demeaned, curves.rms_demeaned_ci),
        number(None if cost is None else cost.change_deg),
        *(NOTHING if item is None else with_interval(item.sd, item.sd_ci) for item in sds),
        NOTHING if both is None else with_interval(both.ratio, both.ratio_ci),
    ]


def _trial_numbers(trial: TrialResult) -> list[str]:
    """Return procedure, cycles and the numbers of one trial."""
    clock, curves = trial.synchronisation, trial.agreement
    wearable, reference = trial.wearable_variability, trial.reference_variability
    cycles = trial.cycles
    return [
        trial.shown,
        NOTHING if cycles is None else f"{int(cycles.kept.sum())} / {cycles.kept.size}",
        number(None if clock is None else clock.lag_s, 3),
        number(None if clock is None else clock.drift_ppm, 1),
        number(None if curves is None else curves.offset),
        number(None if curves is None else curves.rms_demeaned),
        number(None if curves is None else curves.range_difference),
        "" if curves is None else correlation(curves.correlation),
        number(None if wearable is None else wearable.sd),
        number(None if reference is None else reference.sd),
    ]


def participant_sections(results: StudyResults, figures: Figures) -> list[tuple[str, list[Block]]]:
    """Return one section a participant, each recording kept together."""
    naming, groups = Naming(results), trial_groups(results)
    sections = []
    for code in participants(results):
        mine = [each for each in groups if each.main.participant == code]
        if not any(each.worked for each in mine):
            continue  # listed with its reasons under the failures
        blocks = [
            block
            for each in mine
            for block in _trial_blocks(each, naming, figures, results.options)
        ]
        sections.append((breakable(f"Participant {code}"), blocks))
    return sections


def _standing(worked: Sequence[TrialResult]) -> str:
    """Say what both instruments read in neutral standing, or why that is not known."""
    known = [(trial.procedure, trial.standing) for trial in worked if trial.standing is not None]
    if not known or known[0][1] is None:
        return ""
    wearable = listing(
        f"{degrees(standing.wearable_deg)} ({procedure})"
        for procedure, standing in known
        if math.isfinite(standing.wearable_deg)
    )
    first = known[0][1]
    said = [f"wearable {wearable}"] if wearable else []
    if math.isfinite(first.reference_deg):
        said.append(f"reference {degrees(first.reference_deg)}")
    found = f"Mean angle in neutral standing: {'; '.join(said)}." if said else ""
    wanted = first.unknown and any(trial.agreement is not None for trial in worked)
    unknown = f"Zero of both instruments not known: {first.unknown}" if wanted else ""
    return " ".join(part for part in (found, unknown) if part)


_HOW = {"excluded": "Excluded beforehand", "pooled": "Pooled with this person's other recordings"}


def _trial_blocks(
    member: TrialGroup, naming: Naming, figures: Figures, options: Options
) -> list[Block]:
    """Return one recording: numbers of every procedure, figures, warnings."""
    trial = member.main
    title = heading(breakable(naming.heading(trial)))
    if not member.worked:
        by_hand = trial.reason.startswith(BY_HAND)
        how = "Taken out" if by_hand else _HOW.get(trial.status, "Failed")
        beside = [] if (time := trial.over_time) is None else [text(time.summary("°"))]
        return [title, text(f"{how}: {trial.reason}"), *beside]
    rows = [_numbers_with_intervals(result) for result in member.worked]
    few = any(int(t.cycles.kept.sum()) < 20 for t in member.worked if t.cycles is not None)
    lead = OWN_CYCLES.format(level=options.level)
    blocks = [title, *described(lead, PAGE, rows, words=1, end=FEW_CYCLES if few else "")]
    standing = _standing(member.worked)
    blocks += [text(standing)] if standing else []
    for name in ("traces", "synchronisation", "cycles"):
        blocks += figure(f"{member.stem}_{name}", figures)
    blocks += [
        text(f"{result.procedure} failed: {result.reason}")
        for result in member.results
        if result.status == "failed"
    ]
    found = distinct(line for result in member.worked for line in warnings_of(result))
    if found:
        blocks.append({"kind": "notes", "items": list(found)})
    return blocks
