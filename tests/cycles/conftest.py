"""An invented walk: contacts, joint angle and shank rates, all known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from twinangle.signals.recording import PairedAngles

Array = NDArray[np.float64]


def bump(phase: Array, centre: float, width: float) -> Array:
    distance = (phase - centre + 0.5) % 1.0 - 0.5
    return np.exp(-0.5 * (distance / width) ** 2)


@dataclass(frozen=True)
class Walk:
    paired: PairedAngles
    sagittal: Array
    vertical: Array
    contact_s: Array
    turning: NDArray[np.bool_]  # one a cycle between neighbouring contacts
    curves: Array  # the true angle over each cycle, (m, 101)

    @property
    def true_sd(self) -> float:
        return float(self.curves[~self.turning].std(axis=0, ddof=1).mean())


def make_walk(
    n_cycles: int = 40,
    *,
    seed: int = 1,
    rate_hz: float = 100.0,
    stride_s: float = 1.1,
    stride_cv: float = 0.02,
    knee_sd_deg: float = 1.5,
    turns_at: tuple[int, ...] = (),
    standing_s: float = 4.0,
    start_s: float = 0.0,
    noise_deg: float = 0.0,
    odd: dict[int, float] | None = None,
) -> Walk:
    """Stylised knee and a shank rate with mid-swing burst and contact trough.

    `odd` scales the swing of single cycles. A turn takes the three cycles from the one named:
    60° each, 12 % longer, 12° less swing. All invented.
    """
    rng = np.random.default_rng(seed)
    turning = np.zeros(n_cycles, dtype=bool)
    for first in turns_at:
        turning[first : first + 3] = True
    duration = stride_s * (1 + stride_cv * rng.standard_normal(n_cycles)) * (1 + 0.12 * turning)
    contact = start_s + standing_s + np.concatenate(([0.0], np.cumsum(duration)))
    swing = 59.0 + 1.3 * knee_sd_deg * rng.standard_normal(n_cycles) - 12.0 * turning
    stance = 14.0 + knee_sd_deg * rng.standard_normal(n_cycles)
    for index, factor in (odd or {}).items():
        swing[index] *= factor

    def knee(cycle: NDArray[np.int64], phase: Array) -> Array:
        return 3 + stance[cycle] * bump(phase, 0.14, 0.06) + swing[cycle] * bump(phase, 0.72, 0.09)

    time = start_s + np.arange(int((contact[-1] - start_s + standing_s) * rate_hz)) / rate_hz
    inside = (time >= contact[0]) & (time < contact[-1])
    cycle = np.clip(np.searchsorted(contact, time, side="right") - 1, 0, n_cycles - 1)
    phase = (time - contact[cycle]) / duration[cycle]
    angle = np.where(inside, knee(cycle, phase), 3.0)
    near = (time >= contact[0] - 0.45 * stride_s) & (time < contact[-1] + 0.1 * stride_s)
    rate = (
        5.5 * bump(phase, 0.86, 0.05) - 3.5 * bump(phase, 0.62, 0.05) - 3.0 * bump(phase, 0, 0.02)
    )
    vertical = np.where(inside, 0.15 * np.sin(2 * np.pi * phase), 0.0)
    vertical += np.where(inside & turning[cycle], np.radians(60.0) / duration[cycle], 0.0)
    grid = np.linspace(0, 1, 101)
    grid[-1] = 1 - 1e-12
    return Walk(
        PairedAngles(angle + noise_deg * rng.standard_normal(time.size), None, start_s, rate_hz),
        np.where(near, rate, 0.0) + 0.02 * rng.standard_normal(time.size),
        vertical + 0.01 * rng.standard_normal(time.size),
        contact,
        turning,
        np.array([knee(np.full(101, k), grid) for k in range(n_cycles)]),
    )


@pytest.fixture(scope="session")
def walk() -> Callable[..., Walk]:
    return make_walk
