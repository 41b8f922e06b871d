"""A number beside the limit that decided on it, so that what is printed cannot contradict it."""

from __future__ import annotations

MOST_DECIMALS = 15


def told_apart(value: float, limit: float, decimals: int = 1) -> tuple[str, str]:
    """Return a value and a limit rounded, with as many decimals as show which is the larger.

    Parameters
    ----------
    value, limit : float
        In one unit.
    decimals : int, default 1
        Of the value, and of the limit unless it needs fewer; more where rounded alike they would
        seem equal.

    Returns
    -------
    value, limit : str
        9.13 and 9.08 at one decimal are "9.13" and "9.08", 3.04 and 3 at none "3.04" and "3".
        Equal numbers, and those that are not finite, are rounded as asked.
    """
    for digits in range(decimals, MOST_DECIMALS):
        shown, bound = f"{value:.{digits}f}", f"{limit:.{digits}f}"
        if float(shown) != float(bound):
            break
    else:
        shown, bound = f"{value:.{decimals}f}", f"{limit:.{decimals}f}"
        if value != limit:
            shown, bound = repr(float(value)), repr(float(limit))
    short = f"{limit:g}"
    exact = float(bound) == limit == float(short) and len(short) <= len(bound)
    return shown, short if exact else bound
