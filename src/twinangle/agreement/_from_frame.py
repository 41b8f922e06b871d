"""Arguments of the statistics taken from a table: a column where an argument is a name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.agreement._input import require_one_index

if TYPE_CHECKING:
    import pandas as pd

Names = str | Sequence[str]


def columns(data: pd.DataFrame | None, **named: Any) -> tuple[Any, ...]:
    """Return the arguments in order, each text replaced by the column that it names.

    Parameters
    ----------
    data : DataFrame or None
        Without it the arguments are returned as they are.
    **named
        Arrays, names of columns, or None; by the names of the caller's own arguments.

    Raises
    ------
    ValueError
        If `data` is no table or has no such column, or a name is given without a table.
    """
    if data is None:
        texts = [key for key, value in named.items() if isinstance(value, str)]
        if texts:
            said = f"`{texts[0]}` is the text {named[texts[0]]!r}"
            raise ValueError(f"{said}; the name of a column needs the table too, as `data`.")
        return tuple(named.values())
    require_table(data)
    return tuple(
        _column(data, key, value) if isinstance(value, str) else value
        for key, value in named.items()
    )


def difference_and_participant(
    data: pd.DataFrame | None, difference: Any, participant: Any, test: Any, reference: Any
) -> tuple[Any, Any]:
    """Return differences and whose they are, from arrays or from a table.

    Parameters
    ----------
    data : DataFrame or None
    difference : array_like, str, pair of str, or None
        Differences; a column of them; or the columns of test and reference.
    participant : array_like, str or None
    test, reference : array_like, str or None
        Both in place of `difference`.

    Raises
    ------
    ValueError
        If not exactly one of the two forms is given, and as :func:`columns`.
    """
    if isinstance(difference, tuple) and len(difference) == 2 and isinstance(difference[0], str):
        test, reference = difference
        difference = None
    if (test is None) != (reference is None) or (difference is None) == (test is None):
        raise ValueError(
            "give `difference` (test minus reference) alone, or `test` and `reference` without it."
        )
    difference, participant, test, reference = columns(
        data, difference=difference, participant=participant, test=test, reference=reference
    )
    if difference is None:
        require_one_index({"test": test, "reference": reference, "participant": participant})
        for key, value in (("test", test), ("reference", reference)):
            if np.ndim(value) != 1:
                raise ValueError(f"`{key}` must have one dimension, got shape {np.shape(value)}.")
        if np.shape(test) != np.shape(reference):
            raise ValueError(
                f"`test` has {len(test)} values and `reference` {len(reference)}; each pair needs "
                "both."
            )
        difference = _numbers(test) - _numbers(reference)
    return difference, participant


def curves(
    data: pd.DataFrame | None, cycle: Names, point: str, *, participant: Any = None, **named: Any
) -> tuple[Any, ...]:
    """Return curves, one row a cycle, from arrays or from a table with one row a point.

    Parameters
    ----------
    data : DataFrame or None
        Without it the arguments are returned as they are.
    cycle : str or sequence of str
        Columns that together tell the cycles apart; a named participant's column does so too.
    point : str
        Column of the point of the cycle, such as percent; every cycle has the same points.
    participant : array_like, str or None
        Whose each cycle is; returned last where it is not None.
    **named
        Arrays (n_cycles, n_points), or names of columns.

    Raises
    ------
    ValueError
        If a column is absent, or a cycle lacks a point or has it twice.
    """
    if data is None:
        return (*columns(None, **named), *columns(None, participant=participant))
    require_table(data)
    keys = [cycle] if isinstance(cycle, str) else list(cycle)
    if isinstance(participant, str) and participant not in keys:
        keys = [participant, *keys]
    for key in (*keys, point):
        _column(data, "point" if key == point else "cycle", key)
    number = data.groupby(keys, sort=False, dropna=False).ngroup().to_numpy()
    points = np.unique(data[point].to_numpy())
    order = np.lexsort((data[point].to_numpy(), number))
    n = int(number.max()) + 1 if number.size else 0
    if (
        not n
        or number.size != n * points.size
        or not np.array_equal(data[point].to_numpy()[order].reshape(n, -1), np.tile(points, (n, 1)))
    ):
        raise ValueError(
            f"`data` has {number.size} rows for {n} cycles by {', '.join(keys)} and "
            f"{points.size} points in `{point}`; every cycle needs every point once. Name in "
            "`cycle` all columns that tell cycles apart."
        )
    shaped = [
        _numbers(_column(data, key, value))[order].reshape(n, -1) if isinstance(value, str)
        else value
        for key, value in named.items()
    ]  # fmt: skip
    whose = participant
    if isinstance(participant, str):
        whose = data[participant].to_numpy()[order].reshape(n, -1)[:, 0]
    return (*shaped, whose)


def by_trial(
    data: pd.DataFrame, trial: Names | None, *, participant: Any, **named: Any
) -> list[tuple[Any, pd.DataFrame]]:
    """Return a table's trials in order of first appearance, each with whose it is.

    Parameters
    ----------
    data : DataFrame
    trial : str, sequence of str or None
        Columns that tell a participant's trials apart; None: each has one.
    participant : str
        Column of participants.
    **named
        What must be names of columns as well, by the names of the caller's own arguments.

    Raises
    ------
    ValueError
        If `data` is no table, has no such column, or an argument is no name.
    """
    require_table(data)
    for key, value in {**named, "participant": participant}.items():
        named_one = isinstance(value, str)
        if not named_one:
            raise ValueError(
                f"with `data`, `{key}` must be the name of one of its columns, got "
                f"{'nothing' if value is None else type(value).__name__}."
            )
        _column(data, key, value)
    others = [trial] if isinstance(trial, str) else list(trial or ())
    for each in others:
        _column(data, "trial", each)
    grouped = data.groupby([participant, *others], sort=False, dropna=False)
    return [(keys[0], part) for keys, part in grouped]


def only_with_table(data: pd.DataFrame | None, needed: str, **named: Any) -> None:
    """Refuse names of columns without a table, and values beside one.

    Parameters
    ----------
    data : DataFrame or None
    needed : str
        What is to be given without a table.
    **named
        What goes with a table only, and is None without.

    Raises
    ------
    ValueError
        The message names the argument.
    """
    extra = [key for key, value in named.items() if value is not None]
    if data is None and extra:
        raise ValueError(f"`{extra[0]}` goes with `data`; without a table give `{needed}`.")


def require_table(data: object) -> None:
    """Refuse what is no table.

    Raises
    ------
    ValueError
        The message says what was given.
    """
    import pandas as pd

    good = isinstance(data, pd.DataFrame)
    if not good:
        raise ValueError(f"`data` must be a pandas DataFrame, got {type(data).__name__}.")


def _column(data: pd.DataFrame, key: str, name: str) -> pd.Series[Any]:
    if name not in data.columns:
        known = ", ".join(repr(str(each)) for each in list(data.columns)[:20])
        raise ValueError(f"`{key}` names {name!r}, which `data` has not; its columns: {known}.")
    return data[name]


def _numbers(values: Any) -> Any:
    return np.asarray(values, dtype=np.float64)
