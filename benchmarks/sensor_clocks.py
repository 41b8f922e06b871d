"""How often two sensors' files are said to lie apart in time, with and without a shift.

    python benchmarks/sensor_clocks.py                       # 200 walks a rate, 50 of them shifted
    python benchmarks/sensor_clocks.py --walks 20 --shifted 5

Every walk is invented: noisy sensors, skin motion locked to the stride of up to 3 degrees, rotation
out of the plane of up to 8 degrees, drawn stride time and speed. Prints, rate by rate, the share of
walks that are warned of as they are, and with the distal sensor's file shifted by whole samples.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from twinangle.analysis.sensor_clocks import clock_warnings
from twinangle.signals.recording import InertialRecording, SensorPair
from twinangle.simulate import simulate_walk

RATES_HZ = (50.0, 100.0, 128.0, 200.0)
SHIFTS_S = (0.04, 0.06, 0.1, -0.25)


def one_walk(seed: int, rate_hz: float) -> SensorPair:
    """Return the sensors of one invented walk of 40 s."""
    rng = np.random.default_rng([seed, 9])
    return simulate_walk(
        rng=rng,
        rate_hz=rate_hz,
        with_reference=False,
        walk_s=40.0,
        soft_tissue_deg=rng.uniform(0, 3),
        out_of_plane_deg=rng.uniform(0, 8),
        stride_s=rng.uniform(0.95, 1.3),
        speed_m_s=rng.uniform(0.9, 1.6),
    ).sensors


def shifted(pair: SensorPair, shift_s: float) -> SensorPair:
    """Return the pair with the distal sensor's samples later by the nearest whole number."""
    by = round(shift_s * pair.distal.rate_hz)

    def cut(sensor: InertialRecording, begin: int, end: int) -> InertialRecording:
        part = slice(begin, sensor.n_samples - end)
        return replace(
            sensor,
            accelerometer=sensor.accelerometer[part],
            gyroscope=sensor.gyroscope[part],
            magnetometer=None,
        )

    late, early = max(by, 0), max(-by, 0)
    return SensorPair(cut(pair.proximal, late, early), cut(pair.distal, early, late))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--walks", type=int, default=200, help="walks a rate as they are")
    parser.add_argument("--shifted", type=int, default=50, help="of them also with every shift")
    parser.add_argument("--rates", type=float, nargs="+", default=RATES_HZ, help="in Hz")
    options = parser.parse_args()
    print("rate (Hz)   as they are   " + "   ".join(f"{shift:+.2f} s" for shift in SHIFTS_S))
    for rate_hz in options.rates:
        alarms, found = 0, np.zeros(len(SHIFTS_S), dtype=int)
        for seed in range(options.walks):
            pair = one_walk(seed, rate_hz)
            alarms += bool(clock_warnings(pair))
            if seed < options.shifted:
                found += [bool(clock_warnings(shifted(pair, shift))) for shift in SHIFTS_S]
        shares = "   ".join(f"{share:5.0%}  " for share in found / max(options.shifted, 1))
        print(f"{rate_hz:7g}   {alarms:4d} of {options.walks}    {shares}", flush=True)


if __name__ == "__main__":
    main()
