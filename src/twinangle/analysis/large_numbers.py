"""Numbers that no pair of instruments on one joint gives: never without a word.

A low correlation of the mean curves is told by `likeness`.
"""

from __future__ import annotations

from twinangle.agreement.curves import CurveAgreement
from twinangle.agreement.variability import CycleVariability
from twinangle.notices import Notice
from twinangle.thresholds import told_apart

# Common practice, no source: several times what published pairs of instruments differ by in gait.
MOST_RMS_DEG = 10.0
MOST_OFFSET_DEG = 15.0
MOST_SD_DEG = 15.0


def large_numbers(
    curves: CurveAgreement | None, variability: dict[str, CycleVariability]
) -> tuple[str, ...]:
    """Return a warning for each number of a trial beyond what two instruments can differ by.

    Parameters
    ----------
    curves : CurveAgreement or None
        Of the two mean curves; None without a reference.
    variability : dict of str to CycleVariability
        By instrument.
    """
    found: list[str] = [] if curves is None else _of_curves(curves)
    for instrument, each in variability.items():
        if each.sd > MOST_SD_DEG:
            shown, bound = told_apart(each.sd, MOST_SD_DEG)
            text = (
                f"the {instrument}'s cycles scatter by {shown}° (SD, more than {bound}°): they are "
                "not one movement. Likely causes: cycles cut at the wrong events, turns or another "
                "movement among them, a sensor or reference that slipped, an orientation that was "
                "lost. Look at the curves and their exclusions before this trial is used."
            )
            found.append(Notice(text, "large-scatter", "grave", each.sd))
    return tuple(found)


def _of_curves(curves: CurveAgreement) -> list[str]:
    found: list[str] = []
    if curves.rms_demeaned > MOST_RMS_DEG:
        shown, bound = told_apart(curves.rms_demeaned, MOST_RMS_DEG)
        text = (
            f"with their offset taken off, wearable and reference differ by {shown}° RMS over the "
            f"mean cycle (more than {bound}°). Likely causes: another trial's or side's "
            "reference, a lag that is wrong, axes or signs of a sensor, a flexion axis from a poor "
            "functional movement, a gain or unit that is wrong."
        )
        found.append(Notice(text, "large-difference", "grave", curves.rms_demeaned))
    if abs(curves.offset) > MOST_OFFSET_DEG:
        shown, bound = told_apart(abs(curves.offset), MOST_OFFSET_DEG)
        text = (
            f"the offset is {shown}° in size (more than {bound}°). Likely causes: neutral standing "
            "was not neutral or was taken while moving, the reference was not zeroed, or its angle "
            "is defined otherwise (`zero_at_standing`, `offset`, `sign` in [reference])."
        )
        found.append(Notice(text, "large-offset", "grave", abs(curves.offset)))
    return found
