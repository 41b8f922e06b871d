"""The two-way table of participants by measurements, one value a cell."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import ArrayLike

from twinangle.agreement._from_frame import columns
from twinangle.agreement._input import Floats, finite_array

if TYPE_CHECKING:
    import pandas as pd


def scores_of(scores: ArrayLike | Sequence[str], data: pd.DataFrame | None = None) -> Floats:
    """Return the scores, or a table's columns of these names, checked to be at least 2 by 2."""
    if data is not None:
        names = [scores] if isinstance(scores, str) else list(cast("Sequence[str]", scores))
        named = {f"scores[{k}]": name for k, name in enumerate(names)}
        scores = np.column_stack(columns(data, **named))
    scores = finite_array(scores, "scores", ndim=2, min_rows=2)
    if scores.shape[1] < 2:
        raise ValueError(f"`scores` needs at least 2 columns, got shape {scores.shape}.")
    return scores


def mean_squares(scores: Floats) -> tuple[float, float, float, float]:
    """Return the mean squares of rows, columns, error and within rows."""
    n, k = scores.shape
    mean, rows, columns = scores.mean(), scores.mean(axis=1), scores.mean(axis=0)
    between = k * float(((rows - mean) ** 2).sum()) / (n - 1)
    shift = n * float(((columns - mean) ** 2).sum()) / (k - 1)
    residual = scores - rows[:, None] - columns + mean
    error = float((residual**2).sum()) / ((n - 1) * (k - 1))
    within = float(((scores - rows[:, None]) ** 2).sum()) / (n * (k - 1))
    return between, shift, error, within
