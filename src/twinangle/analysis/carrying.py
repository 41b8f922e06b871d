"""Which wearable cuts the cycles of a recording, and its cycles on the clock of another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from twinangle.analysis.clock_between import Worn, clock_between
from twinangle.analysis.common_cycles import Seen
from twinangle.analysis.cutting import cut_cycles
from twinangle.analysis.reading import TrialSignals
from twinangle.cycles.carried import carried_cycles
from twinangle.cycles.overrides import resolve
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet, JointMotion, PairedAngles, Synchronisation
from twinangle.study import Study, Trial
from twinangle.study.overrides_table import read_overrides


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """The cycles that one wearable cut in a recording, by the reference they were found with."""

    wearable: str
    several: tuple[tuple[Seen, TrialResult], ...]

    @property
    def names(self) -> list[tuple[str, str, str]]:
        """Wearable, reference and procedure of each result that the cycles come from."""
        found = [(seen.part.reference, result.procedure) for seen, result in self.several]
        return [(self.wearable, *names) for names in found]

    def cut(
        self,
        study: Study,
        trial: Trial,
        signals: TrialSignals,
        motion: JointMotion,
        paired: PairedAngles,
        *,
        reference: str,
        clock: Synchronisation | None,
    ) -> CycleSet:
        """Cut another wearable's angle at these cycles; at its own where no clock relates the two.

        Raises
        ------
        TooFewCyclesError
            If too few are kept.
        """
        seen, result, own = self._beside(reference, clock)
        assert result.cycles is not None
        worn = Worn(study, trial, motion.angle, own)
        try:
            between = clock_between(_known(seen.worn(result), own), worn)
        except SynchronisationError as error:
            cycles = cut_cycles(study, trial, signals, motion, paired)
            told = self._own_told(cycles.method, result.cycles.method, str(error))
            return replace(cycles, warnings=(told, *cycles.warnings))
        start_s, end_s = (
            between.to_reference(each) for each in (result.cycles.start_s, result.cycles.end_s)
        )
        return carried_cycles(
            replace(result.cycles, start_s=start_s, end_s=end_s),
            paired,
            wearable=self.wearable,
            forced=_forced(seen, result.cycles),
            limits_s=(
                -np.inf if trial.start_s is None else trial.start_s,
                np.inf if trial.end_s is None else trial.end_s,
            ),
            masked=trial.mask,
        )

    def _beside(
        self, reference: str, clock: Synchronisation | None
    ) -> tuple[Seen, TrialResult, Synchronisation | None]:
        """Return what was found with the same reference; else what there is, without its clock."""
        for seen, result in self.several:
            if seen.part.reference == reference and result.synchronisation is not None and clock:
                return seen, result, clock
        return (*self.several[0], None)

    def _own_told(self, own: str, others: str, why: str) -> Notice:
        text = (
            f"Cut at cycles of its own ({own}), not those of {self.wearable} ({others}), as no "
            f"clock relates the two: {why} The two are not compared here. Give what relates their "
            "clocks (`expected_lag_s` and `max_lag_s` in the `synchronisation` of each, or "
            '`method = "shared-clock"`)'
        )
        if own != others:
            text += f', and `method = "{own}"` under [cycles] where one way shall serve both'
        return Notice(f"{text}.", "cycles-of-its-own", "grave")


def _known(worn: Worn, clock: Synchronisation | None) -> Worn:
    """Return a wearable without its reference's clock where the other has none of the same."""
    return worn if clock is not None else replace(worn, clock=None)


def _forced(seen: Seen, cycles: CycleSet) -> np.ndarray:
    """Return which cycles were forced in by hand."""
    forced = np.zeros(len(cycles.reason), dtype=bool)
    named = [
        one
        for one in read_overrides(seen.part.study, seen.trial)
        if ((cycles.start_s <= one[0]) & (cycles.end_s >= one[0])).any()  # not beside the stretch
    ]
    include, _ = resolve(named, cycles.start_s, cycles.end_s)
    forced[list(include)] = True
    return forced


def carried_from(several: Sequence[Seen]) -> Carried | None:
    """Return the cycles that a wearable cut, from its results; None where it yields none.

    A recording that is read in stretches yields none to carry: it is never held whole.
    """
    found = []
    for seen in several:
        good = [one for one in seen.results if one.status in ("ok", "pooled")]
        if good and good[0].daily is None and good[0].paired is not None and good[0].cycles:
            found.append((seen, good[0]))
    return Carried(several[0].part.wearable, tuple(found)) if found else None
