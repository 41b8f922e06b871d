"""The flexion angle of neutral standing, taken from the reference where the study asks for it."""

from __future__ import annotations

import numpy as np

from twinangle.errors import AngleError
from twinangle.signals.recording import Interval, PairedAngles
from twinangle.study import Study, Trial


def standing_of_reference(
    study: Study, trial: Trial, paired: PairedAngles
) -> tuple[float, tuple[str, ...]]:
    """Return what is to be added to the wearable's angles, and what to tell of it.

    The reference's mean over neutral standing, both on the wearable's clock, where `[wearable]`
    says `standing_from_reference`; 0 where it does not, or the trial states its own
    `standing_deg`. A trial without a reference keeps 0 in standing, with a warning.

    Raises
    ------
    AngleError
        If the trial has a reference, but not one value of it lies in neutral standing.
    """
    wanted = getattr(study.wearable, "standing_from_reference", False)
    if not wanted or trial.standing_deg is not None:
        return 0.0, ()
    if paired.reference_deg is None:
        kept = (
            "neutral standing counts as 0° here: the trial has no reference to take its flexion "
            "from, as [wearable] standing_from_reference asks. State it in the trials table's "
            "column `standing_deg`."
        )
        return 0.0, (kept,)
    static = trial.static
    if isinstance(static, Interval):
        inside = (paired.time_s >= static.start_s) & (paired.time_s <= static.end_s)
        known = paired.reference_deg[inside & np.isfinite(paired.reference_deg)]
        if known.size:
            flexion = float(known.mean())
            told = f"flexion in neutral standing taken from the reference: {flexion:.2f}°."
            return flexion, (told,)
    raise AngleError(
        "[wearable] standing_from_reference: the reference has no value in this trial's neutral "
        "standing. Give a `static` stretch within the recording that both instruments cover, or "
        "state `standing_deg` in the trials table."
    )
