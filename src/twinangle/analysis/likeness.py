"""Whether the two instruments' mean curves can be of one joint on one clock, whatever placed them.

Cross-correlation refuses a reference of the wrong sign itself. A shared clock, a trigger, an event
or a lag given by hand look at no curve, so the curves are looked at here, after every one of them.
"""

from __future__ import annotations

import numpy as np

from twinangle.agreement.curves import CurveAgreement
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, CycleSet
from twinangle.study import AngleWearable, Study
from twinangle.thresholds import told_apart

REVERSED = -0.8
"""Correlation at which one instrument runs the other way. No delay brings a knee's curve there:
over the 39 boys of Olshen et al. (1989, Ann Stat 17:1419), each at any delay
against his own curve or another boy's, the least was -0.70."""
ALIKE = 0.9
"""Below it the curves are told to differ: a delay of a twentieth of the cycle leaves 0.89 on those
curves, another boy's curve 0.96 (median)."""
LEAST_RANGE_DEG = 20.0
"""Range of the reference's mean curve from which unlike curves are refused. In a smaller movement
an honest difference of a few degrees is enough for a low correlation; common practice, no source.
"""
OF_CURVES = "the mean curves of wearable and reference correlate"
"""How what is told here begins."""
_BETTER = 0.05  # gain in correlation for which a delay is named


def judge_likeness(study: Study, curves: CurveAgreement, cycles: CycleSet) -> tuple[str, ...]:
    """Refuse mean curves that run against each other, and warn of those that are not alike.

    Parameters
    ----------
    study : Study
        For the signs that it states.
    curves : CurveAgreement
        Of the two mean curves.
    cycles : CycleSet
        For the typical duration.

    Returns
    -------
    tuple of str
        A warning where the correlation is below 0.9, with the delay that would mend it, if one
        would; else nothing.

    Raises
    ------
    SynchronisationError
        If the correlation is at or below -0.8, or below `[agreement] least_correlation` over a
        movement of 20 degrees or more. Its default of 0.75 lies between the least alike of 39 boys'
        knees, 0.78, and the most alike of their knees and hips, 0.73; a delay of a tenth of the
        cycle leaves 0.70 at most (data as above).
    """
    correlation = float(curves.correlation)
    if correlation <= REVERSED:
        raise SynchronisationError(
            f"{OF_CURVES} at {correlation:.2f}, so one of "
            f"the two has the wrong sign: {_remedy(study)}. (Where the movement is as regular as a "
            "sine, a clock that is off by half a cycle does the same: check [synchronisation].)"
        )
    if not correlation < ALIKE:
        return ()
    least = study.agreement.least_correlation
    refused = correlation < least and float(np.ptp(curves.reference_mean)) >= LEAST_RANGE_DEG
    found, limit = told_apart(correlation, least if refused else ALIKE, 2)
    text = (
        f"{OF_CURVES} at {found} only (below "
        f"{limit}). {_delay(curves, correlation, cycles)}Check that both are of the same joint, "
        f"side and trial, the clock ([synchronisation]) and the sign ({_remedy(study)}, where "
        "flexion runs the other way)."
    )
    if refused:
        raise SynchronisationError(
            f"{text} Where the two are truly so unlike and that is the finding, state a smaller "
            "`least_correlation` in [agreement]."
        )
    return (Notice(text, "curves-unlike", "grave", -correlation),)


def _remedy(study: Study) -> str:
    """Return which keys to change, and to what: for the whole study, or for this recording."""
    keys, columns = [], []
    if study.reference is not None:
        keys.append(f"`sign = {-study.reference.sign}` in [reference]")
        columns.append(f"{-study.reference.sign} in the column `sign`")
    if isinstance(study.wearable, AngleWearable):
        keys.append(f"`sign = {-study.wearable.sign}` in [wearable]")
        columns.append(f"{-study.wearable.sign} in `wearable_sign`")
    return (
        f"set {' or '.join(keys)} where all recordings are like this; where it is this one alone, "
        f"{' or '.join(columns)} of the trials table, in its row"
    )


def _delay(curves: CurveAgreement, correlation: float, cycles: CycleSet) -> str:
    """Name the delay at which the curves would be alike; nothing where none helps."""
    at_delay = _circular(np.asarray(curves.test_mean)[:-1], np.asarray(curves.reference_mean)[:-1])
    best = int(np.argmax(at_delay))
    if at_delay[best] < correlation + _BETTER or at_delay[best] < ALIKE:
        return ""
    points = at_delay.size
    share = (best if best <= points // 2 else best - points) / points
    seconds = share * float(np.median(cycles.duration_s[cycles.kept]))
    return (
        f"With the reference {abs(seconds):.2f} s {'later' if seconds > 0 else 'earlier'} they "
        f"would correlate at {at_delay[best]:.2f}, so the clock may be off by that. "
    )


def _circular(test: Array, reference: Array) -> Array:
    """Return the correlation at every delay of the reference, by whole points round the cycle."""
    a, b = test - test.mean(), reference - reference.mean()
    product = np.fft.irfft(np.fft.rfft(a) * np.conj(np.fft.rfft(b)), n=a.size)
    return np.asarray(product / (np.linalg.norm(a) * np.linalg.norm(b)))
