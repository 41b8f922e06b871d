"""Which procedure is better: procedures on the same trials, ranked with paired differences."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Annotated

import numpy as np
import scipy

from twinangle.agreement._people import FEWEST_PEOPLE, people_student
from twinangle.agreement._result import counted
from twinangle.card import Card, Shown
from twinangle.checks import require_fraction
from twinangle.declare import UNDER_TEST, data, number

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = ("participant", "trial", "procedure", "value")


@dataclass(frozen=True, slots=True)
class Standing(Shown):
    """One procedure's place. Procedures that cannot be told apart share a rank: a tie."""

    procedure: Annotated[str, number("the procedure"), UNDER_TEST]
    rank: Annotated[int, number("its place; procedures that cannot be told apart share one")]
    mean: Annotated[float, data("arithmetic mean of the participants' means")]
    tied_with: Annotated[tuple[str, ...], number("procedures that it cannot be told apart from")]


@dataclass(frozen=True, slots=True)
class PairedDifference(Shown):
    """`first` minus `second`, mean over participants, with a simultaneous interval."""

    first: Annotated[str, number("the procedure whose values come first")]
    second: Annotated[str, number("the procedure taken from it")]
    difference: Annotated[float, data("first minus second, mean over participants")]
    lower: Annotated[
        float,
        data("lower end of its simultaneous interval; NaN below 3 participants"),
    ]
    upper: Annotated[
        float,
        data("upper end of its simultaneous interval; NaN below 3 participants"),
    ]
    p_value: Annotated[float, number("two-sided p value of the paired t test, not adjusted")]
    n_participants: Annotated[int, number("participants")]
    least: Annotated[float, data("smallest difference that counts; below it the two are tied")] = (
        0.0
    )

    @property
    def tied(
        self,
    ) -> Annotated[
        bool,
        number(
            "whether its interval holds zero, there is none, or the difference is below `least`"
        ),
    ]:
        """Whether the interval holds zero, there is none, or the difference is below `least`."""
        return not (self.lower > 0 or self.upper < 0) or abs(self.difference) < self.least


@dataclass(frozen=True, slots=True)
class Contest(Shown):
    """Result of :func:`rank_procedures`; a smaller value is better."""

    standings: Annotated[tuple[Standing, ...], number("places, best first")]
    differences: Annotated[tuple[PairedDifference, ...], number("every pair of procedures")]
    confidence: Annotated[float, number("confidence of all intervals together")]
    n_participants: Annotated[int, number("participants")]
    n_trials: Annotated[int, number("trials")]
    dropped: Annotated[
        tuple[str, ...],
        number("trials that lack a procedure, and so enter for none"),
    ]
    quantity: Annotated[str, number("what the procedures are ranked by")]

    def can_tell_apart(self) -> bool:
        """Return whether there are people enough to tell any two procedures apart."""
        return self.n_participants >= FEWEST_PEOPLE

    def before(self, place: Standing) -> str:
        """Return the rank as it stands before a name: `1. `; empty where nothing is told apart."""
        return f"{place.rank}. " if self.can_tell_apart() else ""

    def may_differ_by(self) -> float:
        """Return by how much tied procedures may still differ: the farthest end of an interval.

        NaN where nothing ties, or nothing can be told apart.
        """
        ties = {place.procedure: place.tied_with for place in self.standings}
        ends = [
            max(abs(pair.lower), abs(pair.upper))
            for pair in self.differences
            if pair.second in ties.get(pair.first, ())
        ]
        return max(ends, default=float("nan"))

    def _card(self) -> Card:
        """Show the places, and each pair with its interval."""
        rows = tuple(
            (f"{pair.first} − {pair.second}", f"{pair.difference:.3g}",
             f"{pair.lower:.3g} to {pair.upper:.3g}")
            for pair in self.differences
        )  # fmt: skip
        return Card("Contest", (self.summary(),), ("pair", "difference", "interval"), rows)

    def summary(self) -> str:
        """Return one line for a terminal or a caption."""
        sure = self.can_tell_apart()
        places = ", ".join(
            f"{self.before(place)}{place.procedure} {place.mean:.2f}"
            + (" (tie)" if sure and place.tied_with else "")
            for place in self.standings
        )
        too_few = "" if sure else ": nothing can be told apart in so few"
        return (
            f"{self.quantity}: {places} ({counted(self.n_participants, 'participant')}, "
            f"{counted(self.n_trials, 'trial')}{too_few})"
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row a procedure, best first."""
        import pandas as pd

        return pd.DataFrame(
            [asdict(place) | {"tied_with": ", ".join(place.tied_with)} for place in self.standings]
        )

    def differences_to_frame(self) -> pd.DataFrame:
        """Return one row a pair of procedures, unrounded."""
        import pandas as pd

        return pd.DataFrame([asdict(pair) | {"tied": pair.tied} for pair in self.differences])


def rank_procedures(
    values: pd.DataFrame,
    *,
    confidence: float = 0.95,
    quantity: str = "rms_demeaned_deg",
    least: float = 0.0,
) -> Contest:
    """Rank procedures by an error on the same trials, participants as clusters.

    A participant's trials are averaged first, so that a participant counts once. Every pair of
    procedures is compared by the paired t interval over participants, widened by Bonferroni's
    rule so that all intervals hold together. Going down from the smallest mean, a procedure
    shares the rank of the first of its group unless the interval of their difference excludes 0
    and the difference is at least `least`.

    Parameters
    ----------
    values : DataFrame
        Columns `participant`, `trial` (unique within a participant), `procedure` and `value`
        (an error: smaller is better; any unit). A trial that lacks a procedure, or whose value
        is NaN, is dropped for all and listed.
    confidence : float
        Of all intervals together.
    quantity : str
        Name of the value, for tables.
    least : float
        Smallest difference that counts, in the unit of the values: procedures computed from the
        same signals differ by so constant an amount that an interval may exclude 0 for a
        difference nobody can use.

    Returns
    -------
    Contest
        With one or two participants there are no intervals, and nothing can be told apart: all
        share rank 1.

    Raises
    ------
    ValueError
        If a column is missing, there are fewer than two procedures, a trial names a procedure
        twice, or no trial holds all procedures.

    References
    ----------
    Student (1908). Biometrika 6:1-25; Dunn (1961). J Am Stat Assoc 56:52-64.
    """
    require_fraction(confidence, "confidence")
    if not 0 <= least < np.inf:
        raise ValueError(f"`least` is {least}; a finite difference of 0 or more is needed.")
    table, dropped = _complete_trials(values)
    means = table.groupby(level="participant").mean()
    means = means[means.mean().sort_values(kind="stable").index]
    n_pairs = means.shape[1] * (means.shape[1] - 1) // 2
    level = 1 - (1 - confidence) / n_pairs
    differences = tuple(
        _compare(means[first], means[second], level, least)
        for first, second in combinations(means, 2)
    )
    return Contest(
        standings=_place(means.mean(), differences),
        differences=differences,
        confidence=confidence,
        n_participants=means.shape[0],
        n_trials=table.shape[0],
        dropped=dropped,
        quantity=quantity,
    )


def _complete_trials(values: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return values as trials × procedures, without trials that lack one, and their names."""
    missing = [name for name in _COLUMNS if name not in values.columns]
    if missing:
        raise ValueError(f"`values` lacks the column(s) {missing}; it has {list(values.columns)}.")
    keys = list(_COLUMNS[:3])
    twice = values[values.duplicated(keys)]
    if len(twice):
        row = twice.iloc[0]
        raise ValueError(
            f"`values` holds procedure {row['procedure']!r} twice for participant "
            f"{row['participant']!r}, trial {row['trial']!r}."
        )
    table = values.pivot_table(
        index=["participant", "trial"], columns="procedure", values="value", dropna=False
    )
    if table.shape[1] < 2:
        raise ValueError(f"a contest needs two procedures or more, got {list(table.columns)}.")
    whole = table.notna().all(axis=1)
    given = values.groupby(["participant", "trial"], sort=True).size().index
    dropped = tuple(
        f"{participant} {trial}"
        for participant, trial in given
        if not whole.get((participant, trial), False)
    )
    if not whole.any():
        raise ValueError("no trial holds a value for every procedure; nothing can be compared.")
    return table[whole], dropped


def _compare(first: pd.Series, second: pd.Series, level: float, least: float) -> PairedDifference:
    difference = (first - second).to_numpy(dtype=float)
    n = difference.size
    mean = float(difference.mean())
    lower = upper = p_value = float("nan")
    if n >= FEWEST_PEOPLE:
        error = float(difference.std(ddof=1)) / np.sqrt(n)
        half = people_student(level, n) * error
        lower, upper = mean - half, mean + half
        if error > 0:
            p_value = float(2 * scipy.stats.t.sf(abs(mean) / error, n - 1))
        else:
            p_value = 1.0 if mean == 0 else 0.0
    names = str(first.name), str(second.name)
    return PairedDifference(*names, mean, lower, upper, p_value, n, least)


def _place(means: pd.Series, differences: tuple[PairedDifference, ...]) -> tuple[Standing, ...]:
    tied = {(pair.first, pair.second): pair.tied for pair in differences}
    groups: list[list[str]] = []
    for name in means.index:
        if groups and tied[groups[-1][0], name]:
            groups[-1].append(name)
        else:
            groups.append([name])
    standings = []
    rank = 1
    for group in groups:
        for name in group:
            others = tuple(other for other in group if other != name)
            standings.append(Standing(str(name), rank, float(means[name]), others))
        rank += len(group)
    return tuple(standings)
