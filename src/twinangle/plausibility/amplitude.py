"""The size of the reference's movement held against the gyroscopes', slow and fast."""

from __future__ import annotations

import numpy as np
import scipy

from twinangle.plausibility.channels import sure_causes
from twinangle.plausibility.common_time import CommonTime, Hinge, common_time
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.outcome import Outcome, Verdict, not_tested
from twinangle.thresholds import told_apart

GAIN, FAST = "amplitude", "fast movement"
LEAST_GAIN, MOST_GAIN = 0.87, 1.13
"""Honest soft tissue gives 0.895 to 1.085, so a scale that is 10 % off cannot be told."""
REFUSED_GAIN = (0.6, 1.6)
LEAST_FAST = 0.80  # 0.85 and more on the open walks
LEAST_CORRELATION = 0.9
_FAST_HZ, _SLOW_HZ = (2.2, 5.0), (0.4, 1.4)
_SEGMENT_S = 8.0


def reference_amplitude(evidence: Evidence) -> tuple[Outcome, ...]:
    """Hold the SD of the reference's rate against that of the hinge's rate by the gyroscopes.

    ``k = SD(b') / SD(ω_d·j_d − ω_p·j_p)``, j the hinge's axis in either sensor, from the
    gyroscopes alone (:func:`twinangle.wearable.heading.hinge.hinge_axes`), so that no fit can take
    up a scale. And the ratio of k over 2.2 to 5 Hz to k over 0.4 to 1.4 Hz, from power spectra
    (Welch), which falls where the reference was low-passed while it was recorded. Our own.
    """
    found = common_time(evidence)
    cut = sure_causes(evidence)
    if isinstance(found, str) or cut:
        reason = found if isinstance(found, str) else f"an instrument is saturated: {cut}"
        return tuple(not_tested(test, "reference", reason) for test in (GAIN, FAST))
    hinge = found.hinge
    if hinge is None or hinge.correlation < LEAST_CORRELATION:
        reason = (
            "the gyroscopes turn too little"
            if hinge is None
            else "its rate does not follow the hinge of the two gyroscopes: correlation "
            "{} (below {})".format(*told_apart(hinge.correlation, LEAST_CORRELATION, 2))
        )
        return tuple(not_tested(test, "reference", reason) for test in (GAIN, FAST))
    return _gain(gain(found, hinge)), _fast(*spectral_gains(found, hinge))


def gain(found: CommonTime, hinge: Hinge) -> float:
    """Return the SD of the reference's rate over that of the hinge's."""
    known = found.known
    return float(found.slope[known].std() / hinge.rate[known].std())


def spectral_gains(found: CommonTime, hinge: Hinge) -> tuple[float, float]:
    """Return the gain over 2.2 to 5 Hz relative to that over 0.4 to 1.4 Hz, and the grid's end."""
    size = int(_SEGMENT_S * found.rate_hz)
    both = np.where(found.known, np.stack([found.slope, hinge.rate]), 0.0)
    frequency, powers = scipy.signal.welch(both, found.rate_hz, nperseg=min(size, both.shape[1]))

    def band(limits: tuple[float, float]) -> float:
        inside = (frequency >= limits[0]) & (frequency <= limits[1])
        return float(np.sqrt(powers[0][inside].sum() / powers[1][inside].sum()))

    return band(_FAST_HZ) / band(_SLOW_HZ), found.rate_hz


def _gain(value: float) -> Outcome:
    limit = LEAST_GAIN if value < 1 else MOST_GAIN
    if LEAST_GAIN <= value <= MOST_GAIN:
        return Outcome(GAIN, "reference", "consistent", value, limit)
    refused = not REFUSED_GAIN[0] <= value <= REFUSED_GAIN[1]
    if refused:
        limit = REFUSED_GAIN[0] if value < 1 else REFUSED_GAIN[1]
    shown, bound = told_apart(value, limit, 2)
    said = (
        f"it shows {shown} times the movement that the gyroscopes show about the joint's axis "
        f"({'below' if value < 1 else 'above'} {bound}; soft tissue gives 0.90 to 1.09). Its gain "
        "or calibration is wrong, or the scale of both gyroscopes is (unit or range setting); the "
        "two cannot be told apart from here. Turn a sensor, or the reference, by a known angle."
    )
    verdict: Verdict = "contradicted" if refused else "doubtful"
    return Outcome(GAIN, "reference", verdict, value, limit, said=said)


def _fast(value: float, rate_hz: float) -> Outcome:
    if rate_hz < 4 * _FAST_HZ[1]:
        reason = f"needs {4 * _FAST_HZ[1]:g} samples a second of both instruments, has {rate_hz:g}"
        return not_tested(FAST, "reference", reason)
    if value >= LEAST_FAST:
        return Outcome(FAST, "reference", "consistent", value, LEAST_FAST)
    shown, bound = told_apart(value, LEAST_FAST, 2)
    said = (
        f"of its movement at {_FAST_HZ[0]:g} to {_FAST_HZ[1]:g} Hz it keeps {shown} times what it "
        f"keeps at {_SLOW_HZ[0]:g} to {_SLOW_HZ[1]:g} Hz, by the gyroscopes (below {bound}): it "
        "was low-passed while it was recorded, which flattens peaks and delays the angle. Set its "
        "filter higher or off, or state its delay."
    )
    return Outcome(FAST, "reference", "doubtful", value, LEAST_FAST, said=said)
