"""Results that were computed, and that nothing is to rest on."""

from __future__ import annotations

from dataclasses import replace

from twinangle.results import TrialResult


def refused(result: TrialResult, reason: str) -> TrialResult:
    """Return a recording's result failed, without the numbers that others would rest on.

    Parameters
    ----------
    result : TrialResult
        As it was analysed; its clock, cycles and traces stay to be looked at.
    reason : str
        Why.
    """
    return replace(
        result,
        status="failed",
        reason=reason,
        agreement=None,
        variability=None,
        budget=None,
        daily=None,
        undecided=None,
        pairs=(),
        triples=(),
    )
