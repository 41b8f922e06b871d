"""The hinge's axes against scipy's ``least_squares``, from every start."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.optimize import least_squares

from twinangle.wearable.heading.hinge import hinge_axes

LOSS_RAD_S = 0.1


def _unit(angles):
    away, turn = angles
    return np.array([np.sin(away) * np.cos(turn), np.sin(away) * np.sin(turn), np.cos(away)])


def _misfit(angles, one, two):
    first, second = _unit(angles[:2]), _unit(angles[2:])
    lengths = [np.linalg.norm(np.cross(r, j), axis=1) for r, j in ((one, first), (two, second))]
    return lengths[0] - lengths[1]


def _rates(seed, out_of_plane):
    """Angular velocities of two segments of a hinge that is none to the degree asked for."""
    rng = np.random.default_rng(seed)
    phase = 2 * np.pi * np.arange(300)[:, None] / 100.0 * rng.uniform(0.8, 1.2, 3)
    axes = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    shared = 0.8 * np.sin(phase + rng.uniform(0, 6, 3))
    first = shared @ axes
    second = first + 3.0 * np.cos(phase[:, :1]) * axes[2]
    second = second + out_of_plane * np.sin(2 * phase + 1.0)
    turned = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    return first + 0.05 * rng.normal(size=(300, 3)), second @ turned


@pytest.mark.parametrize(("seed", "out_of_plane"), [(1, 0.0), (3, 0.4)])
def test_no_start_of_the_librarys_fit_finds_a_better_pair_of_axes(seed, out_of_plane):
    one, two = _rates(seed, out_of_plane)
    starts = product((0.4, 1.2), (0.5, 2.0), (1.0,), (0.5, 2.0, 3.6))
    settings = {"loss": "soft_l1", "f_scale": LOSS_RAD_S, "xtol": 1e-12, "ftol": 1e-12}
    fits = [
        least_squares(_misfit, np.array(start), args=(one, two), max_nfev=60, **settings)
        for start in starts
    ]
    best = min(fits, key=lambda fit: fit.cost)
    found = hinge_axes(one, two)
    for axis, expected in zip(
        (found.proximal, found.distal), (_unit(best.x[:2]), _unit(best.x[2:])), strict=True
    ):
        assert np.linalg.norm(np.cross(axis, expected)) < 1e-4  # the library's own tolerance
    assert found.residual_rad_s == pytest.approx(
        np.sqrt(np.mean(_misfit(best.x, one, two) ** 2)), rel=1e-4
    )
