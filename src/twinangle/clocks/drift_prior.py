"""What is known of a drift before the data speak: clocks run on quartz crystals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Common practice, no source: crystals of loggers are sold to 20 to 50 ppm, ageing and temperature
# included, so two of them part by about 50 ppm (standard deviation at most).
_USUAL = 50e-6
# One device in twenty has a resonator, a wrong setting or a rate that is rounded in its header.
_RARE, _RARE_SHARE = 500e-6, 0.05
_LEAST_FREEDOM = 3.0  # Student's t has no variance at 2


@dataclass(frozen=True, slots=True)
class ShrunkDrift:
    """A drift after the prior, a fraction, with its standard error."""

    drift: float
    error: float


def shrink_drift(drift: float, error: float, freedom: float = float("nan")) -> ShrunkDrift:
    """Return the mean and spread of the drift, given what clocks do and what was measured.

    A lag that changes by 3 ms over a walk of 15 s is a drift of 200 ppm if it is a drift; soft
    tissue and a heading that moves do as much, and clocks hardly ever do. So the drift found, of
    error s, is weighed against a prior: two normal laws about 0, with standard deviations of 50 ppm
    (weight 0.95) and 500 ppm (0.05). With σᵢ the two, each gives d σᵢ² / (σᵢ² + s²), and they
    count by their weights times the density of d under a normal law of variance σᵢ² + s²: the
    posterior of a normal mean of known variance, a standard result
    (tests/clocks/test_drift_prior.py holds it against numerical integration).
    The data decide where s is well below 50 ppm, or where the drift lies several s beyond what
    the narrow law allows.

    Parameters
    ----------
    drift, error : float
        As measured, fractions (1e-6 is 1 ppm); the error total, systematic part included.
    freedom : float
        Degrees of freedom of the error; NaN where the normal quantile holds. s² is the variance
        of Student's t with as many, error² ν / (ν − 2), ν at least 3.

    Returns
    -------
    ShrunkDrift
        Its error, with Student's t of the same degrees of freedom, gives the interval: it is
        the standard deviation of what is left uncertain, over √(ν / (ν − 2)). The drift and its
        error as they are where the error is not known or 0.

    Notes
    -----
    The two laws and their weights are our own choice. Over walks of 12 to 24 s it is nearly all
    that is known: the total error is 200 to 800 ppm there. Over two minutes it is 2 ppm, and the
    drift is what was measured.
    """
    if not (np.isfinite(error) and error > 0):
        return ShrunkDrift(drift, error)
    wide = 1.0
    if np.isfinite(freedom):
        known = max(freedom, _LEAST_FREEDOM)
        wide = float(np.sqrt(known / (known - 2)))
    noise = (wide * error) ** 2
    prior = np.array([_USUAL, _RARE]) ** 2
    total = prior + noise
    log_weight = np.log([1 - _RARE_SHARE, _RARE_SHARE]) - 0.5 * (np.log(total) + drift**2 / total)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    means, variances = drift * prior / total, prior * noise / total
    mean = float(weight @ means)
    variance = float(weight @ (variances + (means - mean) ** 2))
    return ShrunkDrift(mean, float(np.sqrt(variance)) / wide)
