"""Agreement sample by sample: what two instruments differ by while both record, cycles or none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import columns
from twinangle.agreement._result import Result, quantity
from twinangle.checks import as_float_array, require_positive
from twinangle.declare import data, measured, number

if TYPE_CHECKING:
    import pandas as pd

LEAST_SAMPLES = 2


@dataclass(frozen=True, slots=True, eq=False)
class TimeAgreement(Result):
    """How two instruments differ over the samples that both have: test minus reference."""

    offset: Annotated[float, data("mean difference over the samples, test minus reference")]
    rms_demeaned: Annotated[
        float, data("RMS of the difference over the samples, each instrument demeaned over them")
    ]
    rmse: Annotated[float, data("RMS of the difference over the samples as it is")]
    correlation: Annotated[float, number("correlation over the samples; null where one is still")]
    n_samples: Annotated[int, number("samples that both instruments have")]
    duration_s: Annotated[float, measured("s", "time that these samples cover")]
    assumptions: Annotated[tuple[str, ...], number("what the numbers rest on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded."""
        return (
            f"Sample by sample over the {self.duration_s:.1f} s that both instruments recorded, "
            f"the demeaned difference was {quantity(self.rms_demeaned, unit)} (RMS), the offset "
            f"{quantity(self.offset, unit)}."
        )


def compare_over_time(
    test: ArrayLike,
    reference: ArrayLike,
    *,
    rate_hz: float,
    data: pd.DataFrame | None = None,
) -> TimeAgreement:
    """Compare two instruments sample by sample over the stretch that both recorded.

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        Samples of the same times; NaN is a gap, and only samples that both have count.
    rate_hz : float
        Their rate.
    data : DataFrame, optional
        A table; the arguments before are then names of its columns.

    Returns
    -------
    TimeAgreement

    Raises
    ------
    ValueError
        If the lengths differ, a value is infinite, fewer than 2 samples are shared or `rate_hz` is
        not above zero.

    Notes
    -----
    With d = test - reference over the n shared samples: offset = Σd/n, rmse² = Σd²/n and
    rms_demeaned² = Σ(d - offset)²/n, so that rmse² = offset² + rms_demeaned², the split of the mean
    squared deviation into squared bias and the rest [1]_. A constant added to either instrument
    moves the offset alone; exchanging the instruments changes the sign of the offset and nothing
    else. Unlike the RMS of mean curves, this one does not average over cycles: what varies from
    cycle to cycle, drift and every turn and rest within the stretch are part of it. It has no
    interval: samples follow each other too closely to be counted.

    References
    ----------
    .. [1] Kobayashi & Salam (2000). Agron J 92, 345-352.
    """
    test, reference = columns(data, test=test, reference=reference)
    first = as_float_array(test, "test", ndim=1)
    second = as_float_array(reference, "reference", ndim=1)
    require_positive(rate_hz, "rate_hz")
    if first.size != second.size:
        raise ValueError(
            f"`test` has {first.size} samples and `reference` {second.size}: both must be of the "
            "same times."
        )
    if np.isinf(first).any() or np.isinf(second).any():
        raise ValueError("`test` and `reference` must be finite, or NaN in gaps; one is infinite.")
    both = np.isfinite(first) & np.isfinite(second)
    if both.sum() < LEAST_SAMPLES:
        raise ValueError(
            f"the instruments share {int(both.sum())} sample(s); at least {LEAST_SAMPLES} are "
            "needed."
        )
    a, b = first[both], second[both]
    difference = a - b
    still = min(np.ptp(a), np.ptp(b)) == 0
    return TimeAgreement(
        offset=float(difference.mean()),
        rms_demeaned=float(difference.std()),
        rmse=float(np.sqrt(np.mean(difference**2))),
        correlation=float("nan") if still else float(np.corrcoef(a, b)[0, 1]),
        n_samples=int(both.sum()),
        duration_s=float(both.sum() / rate_hz),
        assumptions=(
            "Everything within the stretch counts, rests and turns included.",
            "No interval: neighbouring samples are not independent.",
        ),
    )
