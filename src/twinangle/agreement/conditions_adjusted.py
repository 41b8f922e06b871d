"""One condition against another with covariates, by a mixed model."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twinangle.agreement._input import numeric_column
from twinangle.agreement._quantiles import two_sided_student
from twinangle.agreement._result import Interval, Result, interval, quantity
from twinangle.agreement.condition_table import checked_conditions
from twinangle.agreement.condition_trials import FEWEST_CYCLES, freed_values
from twinangle.agreement.variability import CycleVariability
from twinangle.declare import number

if TYPE_CHECKING:
    import pandas as pd

_SAME = 1e-9  # differences that are rounding, as a share of the covariate's size

_SERIAL_KNOWN = (
    "SDs are over equally many consecutive cycles of a participant, freed of what they fall short "
    "at each condition's serial correlation, which the interval takes as known."
)


FEWEST_FREE = 2  # degrees of freedom; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class AdjustedRatio(Result):
    """Ratio of a quantity under two conditions at equal covariates."""

    condition: Annotated[str, number("the condition")]
    against: Annotated[str, number("the condition it is compared with")]
    ratio: Annotated[
        float,
        number("quantity under the condition over that under the other, at equal covariates"),
    ]
    ratio_ci: Interval
    covariates: Annotated[str, number("names of the covariates, comma separated")]
    shared: Annotated[
        float,
        number(
            "share of the variance of the condition that the covariates explain; near 1, "
            "condition and covariates cannot be told apart"
        ),
    ]
    n_participants: Annotated[int, number("participants of the model")]
    n_trials: Annotated[int, number("trials of the model")]
    confidence: Annotated[float, number("confidence of the interval")]
    notes: Annotated[tuple[str, ...], number("what to know before the number is used")]
    assumptions: Annotated[tuple[str, ...], number("what the number rests on")]

    def summary(self, unit: str = "") -> str:
        """Return one sentence for a paper, rounded; a ratio has no unit."""
        return (
            f"{self.condition} against {self.against} at equal {self.covariates}: ratio "
            f"{quantity(self.ratio, '')} ({interval(self.ratio_ci, '', self.confidence)}); mixed "
            f"model of {self.n_trials} trials of {self.n_participants} participants."
        )


def compare_conditions_adjusted(
    frame: pd.DataFrame,
    *,
    against: str,
    covariates: Sequence[str],
    variability: Sequence[CycleVariability | ArrayLike] | None = None,
    confidence: float = 0.95,
) -> tuple[AdjustedRatio, ...]:
    """Compare conditions at equal covariates such as walking speed or stride time.

    Parameters
    ----------
    frame : DataFrame
        One row a trial, as for `compare_conditions`, values above 0, and a column a covariate.
    against : str
        The condition the others are compared with.
    covariates : sequence of str
        Columns of numbers that vary within participants.
    variability : sequence of CycleVariability or array_like of shape (n_cycles, n_points)
        The cycles behind each row, as for `compare_conditions`, at least 3 each; the values are
        then the SDs over them, freed of what an SD over few serially correlated cycles falls short.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    tuple of AdjustedRatio
        One for each other condition, in order of first appearance.

    Raises
    ------
    ValueError
        As `compare_conditions`, or if there is one condition only, a value is not above 0, a
        covariate is missing or not a number, there are fewer than 3 participants or so few that the
        model leaves fewer than 2
        degrees of freedom (4 participants for two conditions and one covariate), a covariate does
        not vary within any
        participant (the model would then repeat the ratio without it), or within participants the
        covariates tell the condition exactly.

    Notes
    -----
    ln(value) = condition + covariates + participant (random) + error, by restricted maximum
    likelihood (statsmodels), on the means over a participant's trials under a condition: legs,
    sessions and repeated trials of one person are one person. Student's t on k - 1 degrees of
    freedom, k participants, or on what the means leave beside participants, conditions and
    covariates where that is fewer: with two conditions every covariate costs one (containment;
    Schluchter & Elashoff 1990, J Stat Comput Simul 37:69, from memory).
    """
    import pandas as pd

    table, curves = checked_conditions(frame, against, variability)
    if curves is not None:
        few = [row for row, each in enumerate(curves) if each.shape[0] < FEWEST_CYCLES]
        if few:
            raise ValueError(
                f"`variability` of row {few[0]} has {curves[few[0]].shape[0]} cycles; "
                f"{FEWEST_CYCLES} are needed."
            )
        table["value"] = freed_values(table, curves)
    if not (table["value"] > 0).all():
        row = int(np.argmax(~(table["value"] > 0)))
        raise ValueError(f"`value` in row {row} is {table['value'][row]:g}; ratios need above 0.")
    if table["participant"].nunique() < 3:
        raise ValueError("a mixed model of conditions needs at least 3 participants.")
    names = [name for name in pd.unique(table["condition"]) if name != against]
    if not names:
        raise ValueError(
            f"`frame` has the condition {against!r} alone; a comparison needs another beside it."
        )
    cells = _cells(table, _covariate_columns(frame, covariates))
    people, others = cells["participant"], cells.iloc[:, 3:].to_numpy(float)
    dummies = np.column_stack([(cells["condition"] == name).to_numpy(float) for name in names])
    _refuse_inseparable(people, dummies, others, covariates)
    design = np.column_stack([np.ones(len(cells)), dummies, others])
    fit, notes = _fit(cells["log"].to_numpy(float), design, people)
    k = int(table["participant"].nunique())
    free = _degrees_of_freedom(design, people)
    if free < FEWEST_FREE:
        raise ValueError(
            f"{k} participants leave {free:g} degrees of freedom at equal {', '.join(covariates)}; "
            f"{FEWEST_FREE} are needed, for a fit through almost every point says nothing of its "
            "error."
        )
    t = two_sided_student(confidence, free)
    effects = np.asarray(fit.fe_params)
    errors = _standard_errors(design, people, fit)
    return tuple(
        AdjustedRatio(
            condition=name,
            against=against,
            ratio=float(np.exp(effects[i])),
            ratio_ci=(
                float(np.exp(effects[i] - t * errors[i])),
                float(np.exp(effects[i] + t * errors[i])),
            ),
            covariates=", ".join(covariates),
            shared=_shared(dummies[:, i - 1], others),
            n_participants=k,
            n_trials=len(table),
            confidence=confidence,
            notes=notes,
            assumptions=(
                *(() if curves is None else (_SERIAL_KNOWN,)),
                "Logarithms are normal about the model; covariates act alike in everyone.",
                (
                    "Only the named covariates are held equal; surface, turns and magnetic field "
                    "are not."
                ),
            ),
        )
        for i, name in enumerate(names, start=1)
    )


def _cells(table: pd.DataFrame, others: NDArray[np.float64]) -> pd.DataFrame:
    """Return one row a participant and condition: the means of ln(value) and of the covariates.

    A participant's trials under a condition share what that participant does there, so that they
    are no further participants: both legs of a walk would otherwise halve the interval.
    """
    import pandas as pd

    log = np.log(table["value"].to_numpy(float))
    columns = pd.DataFrame({"log": log} | {str(j): others[:, j] for j in range(others.shape[1])})
    keys = [table["participant"].to_numpy(), table["condition"].to_numpy()]
    means = columns.groupby(keys, sort=False).mean()
    return means.rename_axis(["participant", "condition"]).reset_index()


def _refuse_inseparable(
    participant: pd.Series,
    dummies: NDArray[np.float64],
    others: NDArray[np.float64],
    covariates: Sequence[str],
) -> None:
    """Refuse covariates that change nothing, or all, within participants.

    Only what varies within participants can alter a ratio that is paired within them: a covariate
    that is one number a participant, such as age, leaves the ratio as it was.
    """
    within = _about_participant_means(others, participant)
    scale = np.maximum(np.abs(others).max(axis=0), np.finfo(float).tiny)
    still = [
        name
        for name, moves in zip(covariates, np.abs(within).max(axis=0) > _SAME * scale, strict=True)
        if not moves
    ]
    if still:
        verb = "does" if len(still) == 1 else "do"
        raise ValueError(
            f"`covariates` {', '.join(still)} {verb} not vary within any participant: conditions "
            "are compared within participants, so the ratio would be the plain one. Give a number "
            "for each trial, or use `compare_conditions`."
        )
    both = np.column_stack([_about_participant_means(dummies, participant), within / scale])
    if np.linalg.matrix_rank(both, tol=_SAME * len(both)) < both.shape[1]:
        raise ValueError(
            f"`covariates` {', '.join(covariates)} tell the condition exactly within participants "
            "(or one another): their effects cannot be parted."
        )


def _about_participant_means(
    values: NDArray[np.float64], participant: pd.Series
) -> NDArray[np.float64]:
    """Return columns less their mean of each participant."""
    import pandas as pd

    frame = pd.DataFrame(values)
    means = frame.groupby(participant.to_numpy()).transform("mean")
    return np.asarray(frame - means, dtype=np.float64)


def _degrees_of_freedom(design: NDArray[np.float64], participant: pd.Series) -> int:
    """Return those of Student's t: of participants, or of the rows where they leave fewer."""
    import pandas as pd

    levels = pd.get_dummies(participant).to_numpy(dtype=np.float64)
    left = len(design) - int(np.linalg.matrix_rank(np.column_stack([design, levels])))
    return int(max(min(levels.shape[1] - 1, left), 1))


def _standard_errors(
    design: NDArray[np.float64], participant: pd.Series, fit: Any
) -> NDArray[np.float64]:
    """Return the standard errors of the effects, from (X'V⁻¹X)⁻¹ at the fitted variances.

    The fit's own come of the inverse of a Hessian that includes the variances: where these are
    flat or at their boundary it has none.
    """
    import pandas as pd

    within, between = float(fit.scale), float(np.asarray(fit.cov_re).ravel()[0])
    levels = pd.get_dummies(participant).to_numpy(dtype=np.float64)
    sums, counts = levels.T @ design, levels.sum(axis=0)
    # V = within (I + r J) in each participant, whose inverse is (I - r J/(1 + r n))/within
    ratio = between / within
    shared = ratio / (1 + ratio * counts)
    information = (design.T @ design - (sums * shared[:, None]).T @ sums) / within
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(information))))


def _covariate_columns(frame: pd.DataFrame, covariates: Sequence[str]) -> NDArray[np.float64]:
    """Return the covariates about their means, one a column."""
    if not covariates:
        raise ValueError("`covariates` is empty; use `compare_conditions` without any.")
    columns = []
    for name in covariates:
        if name not in frame.columns:
            raise ValueError(f"`frame` has no column {name!r} for a covariate.")
        values = numeric_column(frame, name)
        same = np.ptp(values) <= _SAME * np.abs(values).max()  # but for rounding
        columns.append(np.zeros(values.size) if same else values - values.mean())
    return np.column_stack(columns)


def _fit(
    values: NDArray[np.float64], design: NDArray[np.float64], participant: pd.Series
) -> tuple[Any, tuple[str, ...]]:
    """Return the fitted model and what the fit warned of."""
    from statsmodels.regression.mixed_linear_model import MixedLM  # slow to import

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        model = MixedLM(values, design, groups=participant.to_numpy())
        fit = model.fit(reml=True, method="powell", ftol=1e-14)
    return fit, tuple(dict.fromkeys(_in_words(str(warning.message)) for warning in caught))


def _in_words(message: str) -> str:
    """Return a warning of the fit in plain words."""
    if "boundary" in message:
        return (
            "The model finds no variation between participants beyond that between trials; it "
            "takes their level as the same."
        )
    if "Hessian" in message:
        return (
            "The model's fit is flat in the variance between participants; the ratio does not "
            "depend on it, its interval hardly."
        )
    return f"Model fit: {message}"


def _shared(condition: NDArray[np.float64], others: NDArray[np.float64]) -> float:
    """Return the share of the condition's variance that the covariates explain."""
    centred = condition - condition.mean()
    weights, *_ = np.linalg.lstsq(others, centred, rcond=None)
    rest = centred - others @ weights
    return float(1 - (rest @ rest) / (centred @ centred))
