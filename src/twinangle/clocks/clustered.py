"""Standard errors of a least-squares fit whose errors hang together within blocks of time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from twinangle.signals.recording import Array

_LEAST_BLOCKS = 3
_SINGULAR = 1e-12
_FULL_LEVERAGE = 1 - 1e-6  # a block that alone determines a coefficient has no residual


def clustered_errors(outer: Array, moment: Array, contrasts: Array) -> tuple[Array, Array]:
    """Return the covariance of linear functions of the coefficients and their degrees of freedom.

    Errors may be correlated in any way within a block, not between blocks. The plain sandwich is
    too small with few blocks and a delete-a-block jackknife too large, since a block at the end of
    a line pulls the line towards itself; here each block's residuals are divided by the square
    root of 1 − leverage, so that the covariance is unbiased for independent errors of equal
    variance, and Student's t has the degrees of freedom of Satterthwaite [1]_ [2]_:

    V = M [Σ X_g' A_g e_g e_g' A_g X_g] M, M = (X'X)⁻¹, A_g = (I − X_g M X_g')^(−1/2),
    ν = (Σ λ)² / Σ λ², λ the eigenvalues of the estimate's quadratic form under such errors.

    Parameters
    ----------
    outer : array, shape (n_blocks, p, p)
        X_g' X_g of each block.
    moment : array, shape (n_blocks, p)
        X_g' y_g of each block.
    contrasts : array, shape (k, p)
        Each row c is the function c · coefficients.

    Returns
    -------
    covariance : array, shape (k, k)
        NaN with fewer than three blocks.
    freedom : array, shape (k,)
        Degrees of freedom of each function's own error, at least 1.

    References
    ----------
    .. [1] Bell & McCaffrey (2002). Bias reduction in standard errors for linear regression with
       multi-stage samples. Survey Methodology 28:169-181.
    .. [2] Pustejovsky & Tipton (2018). Small-sample methods for cluster-robust variance
       estimation. J Bus Econ Stat 36:672-683. :doi:`10.1080/07350015.2016.1247004`
    """
    n, k = outer.shape[0], contrasts.shape[0]
    if n < _LEAST_BLOCKS:
        return np.full((k, k), np.nan), np.full(k, np.nan)
    root = _root_of_inverse(outer.sum(axis=0))
    score = (moment - outer @ (root @ (root.T @ moment.sum(axis=0)))) @ root
    leverage, axes = np.linalg.eigh(root.T @ outer @ root)
    leverage = np.clip(leverage, 0.0, _FULL_LEVERAGE)

    def of_leverage(function: Callable[[Array], Array]) -> Array:
        return np.asarray((axes * function(leverage)[:, None, :]) @ axes.transpose(0, 2, 1))

    adjusted = (of_leverage(lambda h: 1 / np.sqrt(1 - h)) @ score[:, :, None])[:, :, 0]
    turned = contrasts @ root
    effect = adjusted @ turned.T
    within, across = (
        of_leverage(lambda h: h / (1 - h)),
        of_leverage(lambda h: h / np.sqrt(1 - h)),
    )
    freedom = [_satterthwaite(np.einsum("i,gij,j->g", c, within, c), across @ c) for c in turned]
    return np.asarray(effect.T @ effect), np.array(freedom)


def _root_of_inverse(gram: Array) -> Array:
    """Return R with R R' the inverse of the matrix, directions without information left out."""
    scale = 1 / np.sqrt(np.maximum(np.diag(gram), 1e-300))
    value, vector = np.linalg.eigh(gram * np.outer(scale, scale))
    solid = value > _SINGULAR * value[-1]
    return np.asarray(scale[:, None] * vector[:, solid] / np.sqrt(value[solid]))


def _satterthwaite(own: Array, shared: Array) -> float:
    """Return (trace)² / trace of the square of diag(own) − shared shared', at least 1."""
    form = np.diag(own) - shared @ shared.T
    squares = float(np.sum(form * form))
    return max(float(np.trace(form)) ** 2 / squares, 1.0) if squares > 0 else 1.0
