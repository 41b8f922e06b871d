"""A study as one frozen value: what its file and trials table describe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Unpack

from twinangle.card import Card, Shown
from twinangle.options import Options
from twinangle.signals.recording import Recording
from twinangle.signals.straight_line import Calibration
from twinangle.study.from_arrays import AngleTrial, study_from_angles
from twinangle.study.instruments import Part
from twinangle.study.reference_settings import Reference
from twinangle.study.settings import (
    AgreementSettings,
    ConditionSettings,
    CycleSettings,
    DailyLifeSettings,
    ReportSettings,
    SynchronisationSettings,
)
from twinangle.study.standing_decisions import Standing
from twinangle.study.trial_row import Trial
from twinangle.study.varied import Changes, varied_study
from twinangle.study.wearable_settings import Wearable

# Of the sign patterns that are drawn where there are too many participants to try them all.
SEED = 20


@dataclass(frozen=True, slots=True)
class Study(Shown):
    """A study as its file and trials table describe it; nothing in it is computed."""

    title: str
    joint: str
    folder: Path
    path: Path
    table: Path  # the trials table
    trials: tuple[Trial, ...]
    wearable: Wearable
    reference: Reference | None
    synchronisation: SynchronisationSettings
    cycles: CycleSettings
    agreement: AgreementSettings
    conditions: ConditionSettings
    report: ReportSettings = field(default_factory=ReportSettings)
    daily_life: DailyLifeSettings = field(default_factory=DailyLifeSettings)
    calibration: Calibration | None = None  # fitted from the file that [reference] names
    warnings: tuple[str, ...] = ()
    invented: bool = False  # no person was recorded
    decisions: tuple[Standing, ...] = ()  # of people, every one, with whether it counts
    parts: tuple[Part, ...] = ()  # several wearables or references; the rest is of the first

    @property
    def options(self) -> Options:
        """What the statistics of a run of this study are asked for."""
        return Options(
            confidence=self.agreement.confidence,
            margin_deg=self.agreement.acceptable_deg,
            error_ratio=self.agreement.error_ratio,
            published_interval=self.agreement.published_interval,
            reference_sd_deg=self._reference_sd_deg,
            against=self.conditions.against,
            seed=SEED,
        )

    @property
    def _reference_sd_deg(self) -> float | None:
        """Accuracy of the reference; None where several are not equally accurate."""
        several = [part.study for part in self.parts] or [self]
        stated = {getattr(each.reference, "accuracy_deg", None) for each in several}
        return stated.pop() if len(stated) == 1 else None

    def rows_of(self, trial: Trial) -> tuple[tuple[Part, Trial], ...]:
        """Return a trial as each wearable against each reference has it.

        An exclusion of the trial holds for all of them.
        """
        if not self.parts:
            return ((Part("", "", self), trial),)
        places = [each.row for each in self.trials]
        k = places.index(trial.row)
        return tuple(
            (
                part,
                replace(
                    part.study.trials[k],
                    exclude=part.study.trials[k].exclude or trial.exclude,
                ),
            )
            for part in self.parts
        )

    @property
    def recording_keys(self) -> tuple[tuple[str, ...], ...]:
        """What names each recording, with the wearable's name where there are several."""
        names = dict.fromkeys(part.wearable for part in self.parts) or ("",)
        return tuple(
            (*trial.identity, name) if name else trial.identity
            for trial in self.trials
            for name in names
        )

    @property
    def in_memory(self) -> bool:
        """Whether the recordings are arrays, so that there is no file of the study."""
        return any(isinstance(trial.wearable, Recording) for trial in self.trials)

    @classmethod
    def from_angles(
        cls,
        trials: Sequence[AngleTrial],
        *,
        title: str = "Angles in memory",
        joint: str = "knee",
        **settings: Unpack[Changes],
    ) -> Study:
        """Return a study of angles that other software computed, from arrays, without any file.

        Parameters
        ----------
        trials : sequence of AngleTrial
            One a recording; each with the same procedures.
        title, joint : str
            As in a study file.
        **settings
            As of :meth:`with_`. Clocks are taken as shared where no trial has
            `reference_time_s`, else found by cross-correlation.

        Raises
        ------
        StudyError
            If arrays do not fit each other or a setting is not accepted.

        Examples
        --------
        >>> import numpy as np
        >>> from twinangle.study import AngleTrial, Study
        >>> time = np.arange(0, 40, 0.01)
        >>> knee = 30 - 30 * np.cos(2 * np.pi * time / 1.1)
        >>> trial = AngleTrial("P01", time, knee + 2.0, reference_deg=knee)
        >>> study = Study.from_angles([trial], acceptable_deg=5.0)
        >>> study.synchronisation.method
        'shared-clock'
        """
        study = study_from_angles(trials, title=title, joint=joint)
        if not settings:
            return study
        return replace(varied_study(study, settings), warnings=study.warnings)

    def with_(self, **changes: Unpack[Changes]) -> Study:
        """Return the same study with other settings, validated as the study file is.

        Parameters
        ----------
        **changes
            Keys of the study file: ``with_(procedures=["vqf"], acceptable_deg=3)``. A key that
            several sections have, or a column, goes in with its section:
            ``with_(cycles={"method": "angle-peak"})``. What each of several instruments has of its
            own goes in by its name: ``with_(wearables={"strap": {"procedures": ["vqf"]}})``,
            ``references=…``, with its clock as ``"synchronisation"``; every other section, and
            ``synchronisation=…`` itself, is set for all of them.

        Returns
        -------
        Study
            A further value; this one stays. What differs from the study file is told in the notes
            of its results.

        Raises
        ------
        StudyError
            If a key is unknown (the message lists those that are known) or a value not accepted.

        Examples
        --------
        >>> study = read_study("study.toml")  # doctest: +SKIP
        >>> run_study(study.with_(procedures=["vqf"], acceptable_deg=3))  # doctest: +SKIP
        """
        return varied_study(self, changes)

    def _card(self) -> Card:
        from twinangle.study.study_card import card_of_study  # it needs this class

        return card_of_study(self)
