"""The settings of one recording: the study file's, and over them those of its own row."""

from __future__ import annotations

from dataclasses import replace

from twinangle.study.study_file import Study
from twinangle.study.trial_row import LAGS, SIGNS, Trial
from twinangle.study.wearable_settings import AngleWearable
from twinangle.wording import count, listing


def settings_of(study: Study, trial: Trial) -> Study:
    """Return the study with the settings of one trial.

    Parameters
    ----------
    study : Study
        As the study file has it.
    trial : Trial
        A row of its trials table. A cell of `expected_lag_s`, `max_lag_s`, `sign` (of the
        reference) or `wearable_sign` (of a ready-made angle) goes before the study file's key; a
        lag that somebody decided goes before any way of finding it.

    Returns
    -------
    Study
        The same value where the row gives none of them.
    """
    own = {name: getattr(trial, name) for name in LAGS if getattr(trial, name) is not None}
    if own:
        study = replace(study, synchronisation=study.synchronisation.model_copy(update=own))
    if trial.by_hand is not None and trial.by_hand.lag_s is not None:
        lag = {
            "method": "manual",
            "signal": "angle",
            "lag_s": trial.by_hand.lag_s,
            "drift_ppm": trial.by_hand.drift_ppm,
            "lag_se_s": None,
            "drift_se_ppm": None,
        }
        study = replace(study, synchronisation=study.synchronisation.model_copy(update=lag))
    if trial.sign is not None and study.reference is not None:
        study = replace(study, reference=study.reference.model_copy(update={"sign": trial.sign}))
    if trial.wearable_sign is not None and isinstance(study.wearable, AngleWearable):
        signed = study.wearable.model_copy(update={"sign": trial.wearable_sign})
        study = replace(study, wearable=signed)
    return study


def own_settings_note(study: Study) -> str:
    """Return a sentence on which recordings have settings of their own; empty where none has.

    Parameters
    ----------
    study : Study
        As it was read.

    Returns
    -------
    str
    """
    analysed = [trial for trial in study.trials if not trial.exclude]
    given = {
        name: sum(getattr(trial, name) is not None for trial in analysed)
        for name in (*LAGS, *SIGNS)
    }
    parts = [f"`{name}` in {n}" for name, n in given.items() if n]
    if not parts:
        return ""
    return (
        f"Settings of their own, from the trials table, over those of the study file: "
        f"{listing(parts)} of {count(len(analysed), 'recording')}."
    )
