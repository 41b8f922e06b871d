"""Several wearables or references on one recording: each by itself, then held together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from twinangle.analysis.carrying import Carried, carried_from
from twinangle.analysis.common_cycles import Seen, with_common_cycles
from twinangle.analysis.daily_life import OnStretch
from twinangle.analysis.measured import Measurements
from twinangle.analysis.opened import Opened
from twinangle.analysis.pairs import references_apart, triples_of, wearables_apart
from twinangle.analysis.trial import CutElsewhere, analyse_trial
from twinangle.analysis.whose_clock import with_whose_clock
from twinangle.notices import Notice, reworded
from twinangle.results import TrialResult
from twinangle.results.grouping import distinct
from twinangle.study import Study, Trial
from twinangle.study.instruments import Part, cutting_order
from twinangle.wording import listing

OWN_CYCLES = (
    "{names} are each cut at cycles of their own: a recording that is read in stretches is never "
    "held whole, so that the cycles of one are not carried to the others. They are compared where "
    "their cycles begin together, and their numbers of daily life are of unlike strides."
)
OVERRIDES_OF_ONE = (
    " What is forced in or out ([cycles] `overrides`) acts on {name} alone, on whose clock its "
    "times are."
)


def analyse_parts(
    study: Study,
    trial: Trial,
    on_stretch: OnStretch | None = None,
    measured: Measurements | None = None,
) -> tuple[TrialResult, ...]:
    """Analyse one recording under every wearable, reference and procedure of a study.

    Each wearable against each reference is analysed by itself: its own files and clock. One
    wearable cuts the cycles of all (:mod:`twinangle.analysis.carrying`). What they say together
    goes with the results: the common cycles that procedures are ranked on, and what two wearables
    or two references differ by.
    """
    rows = _with_overrides_of_one(study.rows_of(trial))
    measured = {} if measured is None else measured
    found_in: dict[int, Seen] = {}
    carried: Carried | None = None
    for name in cutting_order(study.parts):
        places = [k for k, (part, _) in enumerate(rows) if part.wearable == name]
        found_in |= {k: _seen(*rows[k], carried, on_stretch, measured) for k in places}
        carried = carried or carried_from([found_in[k] for k in places])
    seen = _with_own_cycles_told([found_in[k] for k in range(len(rows))])
    seen = with_whose_clock(seen)
    seen = [
        replace(each, results=tuple(_named(one, each.part) for one in each.results))
        for each in seen
    ]
    pairs = (*wearables_apart(seen), *references_apart(seen))
    found = [result for one in with_common_cycles(seen) for result in one]
    return (replace(found[0], pairs=pairs, triples=triples_of(seen)), *found[1:])


def analyse_pair(
    rows: Sequence[tuple[Part, Trial]], pair: int, *, opened: Opened | None = None
) -> tuple[TrialResult, ...]:
    """Analyse a recording under one pair of instruments alone, at the cycles that a run takes.

    Parameters
    ----------
    rows : sequence of (Part, Trial)
        The recording as every pair has it.
    pair : int
        The place of one.
    opened : Opened, optional
        As :func:`analyse_trial` takes it.
    """
    part, row = rows[pair]
    return analyse_trial(part.study, row, opened=opened, cycles_by=cycles_for(rows, part))


def _with_overrides_of_one(
    rows: tuple[tuple[Part, Trial], ...],
) -> tuple[tuple[Part, Trial], ...]:
    """Leave what is forced by hand to the wearable that cuts, where the others cut their own.

    Its times are on that one's clock.
    """
    lead = rows[0][0].study
    if lead.daily_life.stretch_min is None or lead.cycles.overrides is None:
        return rows
    cutter = cutting_order(part for part, _ in rows)[0]
    return tuple(
        (part if part.wearable == cutter else _without_overrides(part), row) for part, row in rows
    )


def _without_overrides(part: Part) -> Part:
    cycles = part.study.cycles.model_copy(update={"overrides": None})
    return replace(part, study=replace(part.study, cycles=cycles))


def cycles_for(rows: Sequence[tuple[Part, Trial]], part: Part) -> CutElsewhere | None:
    """Return what cuts one pair's recording at the cycles that a run carries to it.

    Parameters
    ----------
    rows : sequence of (Part, Trial)
        The recording as every pair has it.
    part : Part
        One of them.

    Returns
    -------
    callable or None
        As :func:`analyse_trial` takes it; None where the wearable cuts its own cycles.
    """
    if part.study.daily_life.stretch_min is not None:
        return None  # nothing is carried in a recording that is read in stretches
    for name in cutting_order(each for each, _ in rows):
        if name == part.wearable:
            return None
        own = [row for row in rows if row[0].wearable == name]
        carried = carried_from([_seen(*row, None, None, {}) for row in own])
        if carried is not None:
            return partial(carried.cut, reference=part.reference)
    return None


def _seen(
    part: Part,
    trial: Trial,
    carried: Carried | None,
    on_stretch: OnStretch | None,
    measured: Measurements,
) -> Seen:
    """Return one recording as one wearable against one reference has it."""
    cycles_by = None if carried is None else partial(carried.cut, reference=part.reference)
    pair = f"{part.wearable}, {part.reference}, cut by {carried.names if carried else 'itself'}"
    results = analyse_trial(
        part.study,
        trial,
        cycles_by=cycles_by,
        on_stretch=on_stretch,
        measured=measured,
        pair=pair,
    )
    return Seen(part, trial, results)


def _with_own_cycles_told(several: list[Seen]) -> list[Seen]:
    """Return one recording's results, with a warning where each wearable has cycles of its own.

    A recording that is read in stretches is never held whole, so that none can be carried.
    """
    worn = distinct(
        one.part.wearable for one in several if any(r.daily is not None for r in one.results)
    )
    if len(worn) < 2:
        return several
    said = OWN_CYCLES.format(names=listing(worn))
    if any(one.part.study.cycles.overrides is not None for one in several):
        said += OVERRIDES_OF_ONE.format(name=cutting_order(one.part for one in several)[0])
    told = Notice(said, "cycles-of-its-own")
    return [
        replace(
            one,
            results=tuple(
                result
                if result.daily is None
                else replace(result, warnings=(*result.warnings, told))
                for result in one.results
            ),
        )
        for one in several
    ]


def _named(result: TrialResult, part: Part) -> TrialResult:
    """Return a result under its instruments' names, and so what it would be without decisions."""
    undecided = None if result.undecided is None else _named(result.undecided, part)
    return replace(
        _in_the_files_words(result, part),
        procedure=part.named(result.procedure),
        undecided=undecided,
    )


def _in_the_files_words(result: TrialResult, part: Part) -> TrialResult:
    """Return a result whose texts name the sections as the study file of several has them."""
    clock = result.synchronisation
    if clock is not None:
        clock = replace(clock, warnings=_worded(clock.warnings, part))
    cycles = result.cycles
    if cycles is not None:
        cycles = replace(cycles, warnings=_worded(cycles.warnings, part))
    return replace(
        result,
        reason=part.worded(result.reason),
        warnings=_worded(result.warnings, part),
        synchronisation=clock,
        cycles=cycles,
    )


def _worded(texts: tuple[str, ...], part: Part) -> tuple[str, ...]:
    return tuple(reworded(text, part.worded(text)) for text in texts)
