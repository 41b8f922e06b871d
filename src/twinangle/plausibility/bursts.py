"""Moments in which the reference and the gyroscopes disagree: a knock, a jump, made-up samples."""

from __future__ import annotations

import numpy as np

from twinangle.plausibility.channels import sure_causes
from twinangle.plausibility.common_time import CommonTime, common_time
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.fit import TEST as FIT
from twinangle.plausibility.fit import reference_fit, residual_of_fit
from twinangle.plausibility.frozen import frozen_sensors
from twinangle.plausibility.offset import reference_offset
from twinangle.plausibility.outcome import Outcome, not_tested
from twinangle.thresholds import told_apart

TEST = "bursts"
MOST_BURST, MOST_LONELY_BURST, LONELY = 0.6, 0.3, 4.0
"""Share of the slope's SD a residual may reach over 0.3 s; and where it is so many times the 90 %
quantile of all. Honest walks reach 0.54 at 3.6 times and 0.2 at 5 times."""
_BURST_S = 0.3


def reference_bursts(evidence: Evidence) -> tuple[Outcome, ...]:
    """Look for the worst 0.3 s of what the gyroscopes leave of the reference's rate of change.

    The residual is that of :func:`twinangle.plausibility.fit.reference_fit`, its local RMS a share
    of the SD of the rate. Not judged where a cause is known already: a saturated instrument, lost
    samples, a splice, or a slip.
    """
    found = common_time(evidence)
    reason = found if isinstance(found, str) else _known_cause(evidence)
    if isinstance(found, str) or reason:
        return (not_tested(TEST, "reference", reason),)
    return (_judge(found),)


def _known_cause(evidence: Evidence) -> str:
    if evidence.joint != "knee":
        return f"an {evidence.joint}'s distal segment turns about its own length as well"
    cut = sure_causes(evidence)
    if cut:
        return f"an instrument is saturated: {cut}"
    if any(outcome.verdict == "doubtful" for outcome in frozen_sensors(evidence)):
        return "a sensor's last value was held in the place of lost samples"
    for outcome in (*reference_fit(evidence), *reference_offset(evidence)):
        if outcome.verdict in ("doubtful", "contradicted") and outcome.test != FIT:
            return f"the test '{outcome.test}' has found a cause already"
    return ""


def _judge(found: CommonTime) -> Outcome:
    _, residual = residual_of_fit(found)
    kept = np.isfinite(residual)
    spread = float(found.slope[kept].std())
    size = max(int(_BURST_S * found.rate_hz), 3)
    square = np.convolve(np.nan_to_num(residual) ** 2, np.ones(size) / size, "same")
    local = np.where(kept, np.sqrt(square), 0.0)
    worst = int(np.argmax(local))
    share = float(local[worst]) / spread
    ratio = float(local[worst] / max(np.quantile(local[kept], 0.9), 1e-9))
    lonely = share > MOST_LONELY_BURST and ratio > LONELY
    limit = MOST_LONELY_BURST if lonely else MOST_BURST
    if not lonely and share <= MOST_BURST:
        return Outcome(TEST, "reference", "consistent", share, limit)
    shown, bound = told_apart(share, limit, 2)
    said = (
        f"about {found.time_s[worst]:.1f} s (wearable's clock) it and the gyroscopes disagree over "
        f"0.3 s by {shown} of the usual rate (more than {bound}): a knock, a jump of the "
        "reference, or a stretch filled in or made up in one of the files. Look at both there, "
        "and leave the stretch out where it is not the joint's."
    )
    return Outcome(TEST, "reference", "doubtful", share, limit, said=said)
