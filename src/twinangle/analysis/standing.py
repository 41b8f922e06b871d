"""Neutral standing: what both instruments say of it, and its flexion taken from the reference."""

from __future__ import annotations

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.results import NeutralStanding
from twinangle.signals.recording import Array, Interval, PairedAngles
from twinangle.study import Study, Trial
from twinangle.thresholds import told_apart

FEWEST_OF_STANDING = 0.5  # share of neutral standing that must be recorded for its mean


def neutral_standing(trial: Trial, paired: PairedAngles) -> NeutralStanding:
    """Return both instruments' mean angle in neutral standing, on the wearable's clock.

    Parameters
    ----------
    trial : Trial
        Whose `static` is the stretch of neutral standing.
    paired : PairedAngles
        Both angles on the wearable's clock, lag and drift taken out.

    Returns
    -------
    NeutralStanding
        NaN, with the reason, where an angle is not known: standing is a file of its own or is not
        given, there is no reference, or less than half of the stretch was recorded.
    """
    static = trial.static
    if not isinstance(static, Interval):
        why = "is not given" if static is None else "is a recording of its own"
        return NeutralStanding(unknown=f"neutral standing {why}, which the reference did not see.")
    wearable, unknown = _mean_of_standing(paired, paired.wearable_deg, static, "wearable")
    if paired.reference_deg is None:
        return NeutralStanding(wearable, unknown="there is no reference.")
    reference, other = _mean_of_standing(paired, paired.reference_deg, static, "reference")
    return NeutralStanding(wearable, reference, unknown or other)


def _mean_of_standing(
    paired: PairedAngles, angle_deg: Array, static: Interval, instrument: str
) -> tuple[float, str]:
    """Return the mean of an angle in neutral standing, or NaN and why it is not known."""
    inside = (paired.time_s >= static.start_s) & (paired.time_s <= static.end_s)
    known = angle_deg[inside & np.isfinite(angle_deg)]
    # Counted against the stretch itself: it may begin before the recording does.
    wanted = max((static.end_s - static.start_s) * paired.rate_hz, 1.0)
    share = min(known.size / wanted, 1.0)
    if known.size == 0 or share < FEWEST_OF_STANDING:
        has, needed = told_apart(100 * share, 100 * FEWEST_OF_STANDING, 0)
        return float("nan"), (
            f"the {instrument} has {has} % of neutral standing "
            f"({static.start_s:g} to {static.end_s:g} s on the wearable's clock); at least "
            f"{needed} % are needed."
        )
    return float(known.mean()), ""


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
        return 0.0, (Notice(kept, "flexion-in-standing"),)
    static = trial.static
    if isinstance(static, Interval):
        inside = (paired.time_s >= static.start_s) & (paired.time_s <= static.end_s)
        known = paired.reference_deg[inside & np.isfinite(paired.reference_deg)]
        if known.size:
            flexion = float(known.mean())
            told = f"flexion in neutral standing taken from the reference: {flexion:.2f}°."
            return flexion, (Notice(told, "flexion-in-standing", "note"),)
    raise AngleError(
        "[wearable] standing_from_reference: the reference has no value in this trial's neutral "
        "standing. Give a `static` stretch within the recording that both instruments cover, or "
        "state `standing_deg` in the trials table."
    )
