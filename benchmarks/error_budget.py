"""Errors put into simulated knee curves: what the error budget makes of them.

    python benchmarks/error_budget.py

The curves are invented: a stance and a swing bump, errors with shapes close to flexion itself. For
each injection the parts in percent of the mean squared difference beyond the offset, and beside
them what a stepwise rule gives: the shift that brings the curves nearest, then the gain of the
rest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from twinangle.agreement import error_budget

Array = NDArray[np.float64]
CYCLE = np.linspace(0, 1, 101)
SHOWN = ("range", "timing", "shared", "pattern")


def bump(centre: float, width: float, phase: Array = CYCLE) -> Array:
    """Return a bump that repeats."""
    laps = (-1, 0, 1)
    away = np.mod(phase, 1) - centre
    return np.asarray(sum(np.exp(-(((away + lap) / width) ** 2) / 2) for lap in laps))


def knee(late: float = 0.0, gain: float = 1.0) -> Array:
    """Return the knee curve, late by percent of the cycle, its mean as it is."""
    phase = CYCLE - late / 100
    curve = 14 * bump(0.14, 0.06, phase) + 59 * bump(0.72, 0.09, phase)
    return np.asarray(gain * (curve - curve.mean()) + 20)


def harmonic(number: int, turn: float) -> Array:
    return np.cos(2 * np.pi * number * CYCLE + turn)


INJECTIONS = {
    "delay of 1.5 %": knee(late=1.5),
    "gain of 1.08": knee(gain=1.08),
    "both": knee(late=1.5, gain=1.08),
    "bump of 3° at 62 %": knee() + 3 * bump(0.62, 0.05),
    "bump of −3° at 82 %": knee() - 3 * bump(0.82, 0.05),
    "bump of 3° at the peak, 72 %": knee() + 3 * bump(0.72, 0.06),
    "first harmonic of 2°, in phase": knee() + 2 * harmonic(1, 1.7),
    "first harmonic of 2°, across": knee() + 2 * harmonic(1, 0.2),
    "second harmonic of 2°": knee() + 2 * harmonic(2, 0.3),
    "delay 0.8 %, gain 0.95, bump of 2° at 62 %": knee(0.8, 0.95) + 2 * bump(0.62, 0.05),
    "delay 0.8 %, gain 1.05, bump of −2° at 72 %": knee(0.8, 1.05) - 2 * bump(0.72, 0.05),
}


def stepwise(test: Array, reference: Array) -> tuple[float, float]:
    """Return range and timing by the stepwise rule."""
    target, centred = test - test.mean(), reference - reference.mean()
    closed = np.append(target[:-1], target[0])
    spline = CubicSpline(CYCLE, closed, bc_type="periodic")
    moved = [spline(CYCLE + s / 100) for s in np.linspace(-5, 5, 2001)]
    moved = min((m - m.mean() for m in moved), key=lambda m: float(np.mean((m - centred) ** 2)))
    rest = float(np.mean((moved - centred) ** 2))
    gain = float(moved @ centred / (centred @ centred))
    timing = float(np.mean((target - centred) ** 2)) - rest
    return (gain - 1) ** 2 * float(np.mean(centred**2)), timing


def main() -> None:
    names = " | ".join(SHOWN)
    print(f"| put in | {names} | gain, span | shift (%), span | stepwise: range, timing |")
    print("| --- " * (len(SHOWN) + 4) + "|")
    for name, test in INJECTIONS.items():
        found = error_budget(test[None], knee()[None])
        beyond = found.total - found.offset
        parts = " | ".join(f"{100 * getattr(found, part) / beyond:.0f}" for part in SHOWN)
        before = ", ".join(f"{100 * part / beyond:.0f}" for part in stepwise(test, knee()))
        gains = f"{found.gain:.3f} ({found.gain_span[0]:.3f} to {found.gain_span[1]:.3f})"
        shifts = f"{found.shift:.2f} ({found.shift_span[0]:.2f} to {found.shift_span[1]:.2f})"
        print(f"| {name} | {parts} | {gains} | {shifts} | {before} |".replace("-", "−"))


if __name__ == "__main__":
    main()
