"""The magnetic field a walking sensor meets: the earth's, and iron in and under the floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.signals.recording import Array

HATCH_SEEN_M = 0.35  # height of a shank's sensor in standing, where a hatch turns the field


@dataclass(frozen=True, slots=True, eq=False)
class MagneticField:
    """Earth field plus a sum of harmonic modes that decay with height above the floor.

    The floor's field is B = −∇ψ with ψ = Σ (a/k) cos(k·x + φ) exp(−|k| z): free of curl and of
    divergence, as any static field in air must be, so strongest at the floor and faint at the
    hip. A hatch is a dipole p at the origin of the floor, B = (3 (p·r̂) r̂ − p) / r³.
    """

    earth_ut: Array  # (3,) east, north, up
    wave_per_m: Array  # (m, 2) wave vectors k, radians a metre
    amplitude_ut: Array  # (m,)
    phase_rad: Array  # (m,)
    hatch_ut_m3: Array  # (3,) dipole at the origin, µT m³; zero where there is none

    def at(self, position_m: Array) -> Array:
        """Return the field (n, 3) in µT at positions (n, 3) in metres, z above the floor."""
        k = np.linalg.norm(self.wave_per_m, axis=1)
        angle = position_m[:, :2] @ self.wave_per_m.T + self.phase_rad
        decayed = self.amplitude_ut * np.exp(-position_m[:, 2:] * k)
        horizontal = (decayed * np.sin(angle)) @ (self.wave_per_m / k[:, None])
        vertical = (decayed * np.cos(angle)).sum(axis=1, keepdims=True)
        return np.asarray(
            self.earth_ut + np.hstack([horizontal, vertical]) + self._of_hatch(position_m)
        )

    def _of_hatch(self, position_m: Array) -> Array:
        """Return the hatch's field (n, 3): a dipole's, as far away as every magnet's."""
        if not self.hatch_ut_m3.any():
            return np.zeros_like(position_m)
        distance = np.linalg.norm(position_m, axis=1, keepdims=True)
        towards = position_m / distance
        along = (towards @ self.hatch_ut_m3)[:, None]
        return np.asarray((3.0 * along * towards - self.hatch_ut_m3) / distance**3)


def make_field(
    *,
    rng: np.random.Generator,
    norm_ut: float,
    dip_deg: float,
    floor_ut: float,
    hatch_deg: float = 0.0,
) -> MagneticField:
    """Draw the field of one place.

    Parameters
    ----------
    rng : numpy.random.Generator
    norm_ut, dip_deg : float
        Strength and dip (below horizontal) of the earth's field; north is +y.
    floor_ut : float
        Root mean square of the floor's horizontal field at floor level, all directions
        together, in µT. 0 is a clean field. Wavelengths are 1.8 to 4 m, which matches the
        fall from 29° of heading SD 5 cm above a laboratory floor to 3° above 100 cm
        (de Vries et al. 2009, Gait Posture 29:535).
    hatch_deg : float
        Angle, anticlockwise from above, by which a magnetised steel hatch under the standing
        place turns the horizontal field 0.35 m above it, its strength and dip unchanged there.
        0 is no hatch.

    Returns
    -------
    MagneticField
    """
    dip = np.deg2rad(dip_deg)
    modes = 12
    length = 2.0 * np.pi / rng.uniform(1.8, 4.0, modes)
    direction = rng.uniform(0.0, 2.0 * np.pi, modes)
    return MagneticField(
        earth_ut=norm_ut * np.array([0.0, np.cos(dip), -np.sin(dip)]),
        wave_per_m=length[:, None] * np.column_stack([np.cos(direction), np.sin(direction)]),
        amplitude_ut=np.full(modes, floor_ut * np.sqrt(2.0 / modes)),
        phase_rad=rng.uniform(0.0, 2.0 * np.pi, modes),
        hatch_ut_m3=_hatch(norm_ut * np.cos(dip), np.deg2rad(hatch_deg)),
    )


def _hatch(horizontal_ut: float, turn_rad: float) -> Array:
    """Return the level dipole that turns a field to the north by an angle above itself.

    Straight above a level dipole its field is −p/r³, which has to be the turned field less the
    earth's own.
    """
    change = horizontal_ut * np.array([-np.sin(turn_rad), np.cos(turn_rad) - 1.0, 0.0])
    return np.asarray(-change * HATCH_SEEN_M**3)
