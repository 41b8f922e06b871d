"""What an SD over serially correlated cycles loses where they are few, and how they correlate."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy

from twinangle.agreement._input import Floats

LOWEST, HIGHEST = -0.9, 0.95  # serial correlations considered


_ROOT_STEPS = 10  # within 1e-12 of halving the range 40 times, on 20000 random sums


_FLAT = 1e-300  # what a miss of 0 is taken for


def expected_loss(n: Floats, serial: Floats, alike: Floats) -> tuple[Floats, Floats]:
    """Return by how much the SD over n serially correlated cycles falls short.

    Parameters
    ----------
    n : ndarray
        Cycles, at least 2.
    serial : ndarray
        r, serial correlation of a first-order process.
    alike : ndarray
        As :class:`ConditionSpread`.

    Returns
    -------
    tuple of ndarray
        E(ln SD) - ln σ, and ln E(SD) - ln σ.

    Notes
    -----
    The sum of squares about the mean is a quadratic form in normal values with the expectation
    E = n - T/n and the sum of squared weights Q, in σ² and σ⁴, R their correlation matrix::

        T = 1'R1,   Q = tr(R²) - 2 (1'R²1)/n + (T/n)²

    It is taken for E/ν times a chi-squared variable on ν = E²/Q degrees of freedom [1]_, so that
    ln E(SD) = ½ ln(E/(n - 1)) + ln c4(ν + 1), and E(ln SD) has ½ [ψ(ν/2) - ln(ν/2)] in the place
    of ln c4 at a single point, and lies between the two where points are averaged. All sums have
    closed forms for R_ij = r^|i - j|. c4(n) = √(2/(n - 1)) Γ(n/2) / Γ((n - 1)/2) [2]_.

    References
    ----------
    .. [1] Satterthwaite (1946). Biometrics Bull 2, 110-114.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 (the factor c4).
    """
    shrunk, df = _about_own_mean(n, serial)
    at_one_point = 0.5 * (scipy.special.digamma(df / 2) - np.log(df / 2))
    of_mean = log_unbiased_factor(df + 1)
    return shrunk + alike * at_one_point + (1 - alike) * of_mean, shrunk + of_mean


def expected_log_square(n: Floats, serial: Floats, alike: Floats) -> Floats:
    """Return ln E(SD²) - ln σ² of the SD over n serially correlated cycles, averaged over points.

    Parameters
    ----------
    n, serial, alike : ndarray
        As `expected_loss`.

    Returns
    -------
    ndarray

    Notes
    -----
    E(SD²) = E(SD)² + var(SD). At one point that is E/(n - 1) (`expected_loss`); over the points the
    variance is `alike` of it, which leaves E/(n - 1) [c4² + `alike` (1 - c4²)].
    """
    shrunk, df = _about_own_mean(n, serial)
    square = np.exp(2 * log_unbiased_factor(df + 1))
    found: Floats = 2 * shrunk + np.log(square + alike * (1 - square))
    return found


def kept_share(n: Floats, serial: Floats) -> Floats:
    """Return E/(n - 1) of `expected_loss`: E(SD²)/σ² at one point."""
    found: Floats = (n - (n + 2 * _memory(n, serial)) / n) / (n - 1)
    return found


def _about_own_mean(n: Floats, serial: Floats) -> tuple[Floats, Floats]:
    """Return ½ ln(E/(n - 1)) and ν of `expected_loss`."""
    total = n + 2 * _memory(n, serial)
    mean = n - total / n
    first = serial * (1 - serial**n) / (1 - serial)  # Σ r^j over j = 1 … n
    second = serial**2 * (1 - serial ** (2 * n)) / (1 - serial**2)  # Σ r^2j
    # Row t of R adds up to (1 + r - r^(t + 1) - r^(n - t))/(1 - r).
    rows = n * (1 + serial) ** 2 - 4 * (1 + serial) * first + 2 * second
    rows = (rows + 2 * n * serial ** (n + 1)) / (1 - serial) ** 2
    squared = n + 2 * _memory(n, serial**2) - 2 / n * rows + (total / n) ** 2
    return 0.5 * np.log(mean / (n - 1)), mean**2 / squared


def log_unbiased_factor(n: Floats) -> Floats:
    """Return ln c4(n), the logarithm of the share of σ that an SD of n independent values shows."""
    logs = scipy.special.gammaln(n / 2) - scipy.special.gammaln((n - 1) / 2)
    found: Floats = 0.5 * np.log(2 / (n - 1)) + logs
    return found


def serial_correlations(n: Floats, lag0: Floats, lag1: Floats) -> Floats:
    """Return the serial correlation of each condition's cycles, all participants together.

    Parameters
    ----------
    n, lag0, lag1 : ndarray, shape (k, n_conditions, t, ...)
        As :class:`ConditionSpread`.

    Returns
    -------
    ndarray, shape (n_conditions, ...)
        r with Σ N_i = Σ D_i E1(n_i, r), N and D the lag-1 and lag-0 sums of a trial; between -0.9
        and 0.95, and 0 where nothing varies.

    Notes
    -----
    E1 is the ratio of the expectations of N and D in a first-order process whose mean is
    estimated, so that r has none of the bias of the autocorrelation of a short series::

        E1(n, r) = [(n - 1) r - (n + 1) v + 2 (1 - r^n)/((1 - r) n)] / (n - n v)
        v = (n + 2 A)/n²,  A = n r/(1 - r) - r (1 - r^n)/(1 - r)²

    A ratio of sums over participants keeps the bias of a ratio of random numbers small, which a
    mean of their ratios would not.
    """

    def expected(serial: Floats) -> Floats:
        found: Floats = (lag0 * _expected_share(n, serial[None, :, None])).sum(axis=(0, 2))
        return found

    root = _rising_root(expected, lag1.sum(axis=(0, 2)))
    found: Floats = np.where(lag0.sum(axis=(0, 2)) > 0, root, 0.0)
    return found


def _expected_share(n: Floats, serial: Floats) -> Floats:
    """Return E1(n, r) of `serial_correlations`."""
    v = (n + 2 * _memory(n, serial)) / n**2
    ends = 2 * (1 - serial**n) / ((1 - serial) * n)
    found: Floats = ((n - 1) * serial - (n + 1) * v + ends) / (n - n * v)
    return found


def _memory(n: Floats, serial: Floats) -> Floats:
    """Return A = Σ (n - j) r^j over j = 1 … n - 1."""
    found: Floats = n * serial / (1 - serial) - serial * (1 - serial**n) / (1 - serial) ** 2
    return found


def _rising_root(rising: Callable[[Floats], Floats], goal: Floats) -> Floats:
    """Return where a rising function reaches the goal, or the end of the range nearest to it.

    False position, the value at an end that stays twice halved (the Illinois rule of numerical
    analysis): the functions are close to straight, so that a few steps do.
    """
    low, high = np.full(goal.shape, LOWEST), np.full(goal.shape, HIGHEST)
    below, above = rising(low) - goal, rising(high) - goal
    outside = np.where(below >= 0, low, np.where(above <= 0, high, np.nan))
    below, above = np.minimum(below, -_FLAT), np.maximum(above, _FLAT)
    found, before = (low + high) / 2, np.zeros(goal.shape)  # before: side of the step before
    for _ in range(_ROOT_STEPS):
        found = low - below * (high - low) / (above - below)
        miss = rising(found) - goal
        short = miss < 0
        low, high = np.where(short, found, low), np.where(short, high, found)
        side = np.where(short, -1.0, 1.0)
        stays = np.where(side == before, 0.5, 1.0)
        below, above = np.where(short, miss, stays * below), np.where(short, stays * above, miss)
        below, above, before = np.minimum(below, -_FLAT), np.maximum(above, _FLAT), side
    return np.where(np.isnan(outside), found, outside)
