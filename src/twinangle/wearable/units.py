"""Units of sensors' signals: what each is in SI or µT, and how files spell it."""

from __future__ import annotations

import numpy as np

STANDARD_GRAVITY = 9.80665  # m/s², by definition (3rd CGPM)


FACTORS: dict[str, dict[str, float]] = {
    "accelerometer": {"m/s^2": 1.0, "g": STANDARD_GRAVITY},
    "gyroscope": {"rad/s": 1.0, "deg/s": np.pi / 180},
    "magnetometer": {"uT": 1.0, "gauss": 100.0, "normalised": 1.0},
}


# Spellings of the same units that files declare in their own words.
SPELLINGS = {
    "m/s²": "m/s^2",
    "m/s2": "m/s^2",
    "m s-2": "m/s^2",
    "m*s^-2": "m/s^2",
    "°/s": "deg/s",
    "dps": "deg/s",
    "µT": "uT",
    "μT": "uT",
    "microtesla": "uT",
    "G": "gauss",
    "Gauss": "gauss",
}
