"""Faults of the clocks put into simulated pairs: what is caught, what is named, what is disturbed.

    python benchmarks/clock_faults.py                  # 40 pairs of each fault, 3 minutes
    python benchmarks/clock_faults.py --pairs 200  # the table of docs/background/synchronisation.md
    python benchmarks/clock_faults.py --raw 30         # samples lost in the sensors' own files

Everything is invented. Pairs are those of benchmarks/synchronisation.py (15 to 50 s of overlap,
stride-time SD 0.5 to 2.5 %, soft tissue of 0 to 3 degrees, drift to +-60 ppm), into which is put:
samples lost in either file at a random place 4 s or more from its ends, its times running on
evenly; a drift of 0 to 2000 ppm; or an overlap of 4 to 10 strides only. With --raw the samples are
lost in both sensors' signals of a demo walk and every angle computed from what is left.

Caught: not accepted without a word. Place: file right and the place within 1.5 s. Named: the size
right to 15 ms as well.
Silent error: accepted without a word, the lag wrong by more than 20 ms.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from twinangle.analysis.clock import refuse_drift, unusual_drift
from twinangle.clocks import synchronise
from twinangle.errors import SynchronisationError, TwinangleError
from twinangle.options import Options
from twinangle.signals.recording import AngleRecording, InertialRecording, SensorPair
from twinangle.simulate.demo import demo_trial
from twinangle.wearable.procedure_input import WearableTrial
from twinangle.wearable.procedures import estimate_motion

sys.path.insert(0, str(Path(__file__).parent))
from synchronisation import PairSettings, draw_settings, make_pair

LOST = re.compile(r"(\w+)\.csv lost ([\d.]+) s .*?at about (-?[\d.]+) s")
WRONG_S = 0.02
OPTIONS = Options(
    confidence=0.95,
    margin_deg=None,
    error_ratio=None,
    published_interval=False,
    reference_sd_deg=None,
    against=None,
    seed=0,
)
_STEPPED = "the lag between them steps"  # words of a refusal for lost samples


@dataclass(frozen=True)
class Outcome:
    """What became of one pair."""

    accepted: bool
    said: str  # the refusal, or the warnings
    lag_error_s: float = float("nan")  # at the middle of the overlap
    drift_error_ppm: float = float("nan")

    def named(self, file: str, size_s: float, at_s: float) -> tuple[bool, bool]:
        """Tell whether file and place of the lost samples are right, and the size as well."""
        found = LOST.search(self.said)
        place = found is not None and found[1] == file and abs(float(found[3]) - at_s) <= 1.5
        return place, place and abs(float(found[2]) - size_s) <= 0.015


def lose(recording: AngleRecording, at_s: float, size_s: float) -> AngleRecording:
    """Drop samples; the times run on evenly."""
    first = round((at_s - recording.start_s) * recording.rate_hz)
    gone = slice(first, first + round(size_s * recording.rate_hz))
    return replace(recording, angle_deg=np.delete(recording.angle_deg, gone))


def outcome(pair: tuple[AngleRecording, AngleRecording], lag_s: float, drift_ppm: float) -> Outcome:
    """Synchronise a pair and judge its drift, as a study does."""
    try:
        clock = synchronise(*pair)
        refuse_drift(clock, max_drift_ppm=1000.0)
    except SynchronisationError as error:
        return Outcome(False, str(error))
    slope = clock.drift_ppm - drift_ppm
    error = clock.lag_s - lag_s + clock.centre_s * slope * 1e-6
    warnings = (*clock.warnings, *unusual_drift(clock, OPTIONS))
    return Outcome(True, " ".join(warnings), error, slope)


def drawn(seed: int, kind: int) -> tuple[np.random.Generator, PairSettings]:
    """Draw the settings of an honest pair."""
    rng = np.random.default_rng([seed, kind])
    settings = draw_settings(rng, "steady")
    return rng, replace(settings, drift_ppm=float(rng.uniform(-60, 60)))


def lost(seed: int, size_s: float) -> tuple[Outcome, tuple[bool, bool]]:
    """Lose samples in either file; return the outcome and whether it was named."""
    rng, s = drawn(seed, 1)
    wearable, reference = make_pair(rng, s)
    place = max(-s.lag_s, 0.0) + rng.uniform(4, s.overlap_s - 4)  # on the reference's clock
    file = ("wearable", "reference")[int(rng.integers(2))]
    if file == "wearable":
        place += s.lag_s
        wearable = lose(wearable, place, size_s)
    else:
        reference = lose(reference, place, size_s)
    found = outcome((wearable, reference), s.lag_s, s.drift_ppm)
    return found, found.named(file, size_s, place)


def drifting(seed: int, drift_ppm: float) -> Outcome:
    """Draw a pair whose clocks drift."""
    rng, s = drawn(seed, 2)
    sign = float(rng.choice([-1.0, 1.0]))
    s = replace(s, drift_ppm=sign * drift_ppm)
    return outcome(make_pair(rng, s), s.lag_s, s.drift_ppm)


def short(seed: int, strides: int) -> tuple[Outcome, float]:
    """Draw a pair that overlaps for a few strides; return the duration of one as well."""
    rng, s = drawn(seed, 3)
    s = replace(
        s,
        overlap_s=strides * s.stride_s + 0.3,
        lag_s=float(rng.uniform(-4, 4)),
        extra_s=float(rng.uniform(0, 6)),
    )
    return outcome(make_pair(rng, s), s.lag_s, s.drift_ppm), s.stride_s


def _share(values: list[bool]) -> str:
    return f"{100 * float(np.mean(values)):6.1f}" if values else "     -"


def _rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if values else float("nan")


def _silent(found: list[Outcome]) -> list[bool]:
    return [one.accepted and not one.said and abs(one.lag_error_s) > WRONG_S for one in found]


def table_of_losses(pairs: int) -> None:
    print("\nsamples lost, %   caught   place   named  silent error")
    for size in (0.05, 0.1, 0.2, 0.5):
        done = [lost(seed, size) for seed in range(pairs)]
        caught = [not one.accepted or bool(one.said) for one, _ in done]
        place, named = ([part[k] for _, part in done] for k in (0, 1))
        silent = _silent([one for one, _ in done])
        print(
            f"{size:10.2f} s     {_share(caught)}  {_share(place)}  {_share(named)}  "
            f"{_share(silent)}",
            flush=True,
        )


def table_of_drifts(pairs: int) -> None:
    print("\ndrift, %        as lost  refused  warned  no word  drift error of accepted, ppm (RMS)")
    for drift in (0.0, 60.0, 150.0, 250.0, 500.0, 900.0, 1100.0, 2000.0):
        found = [drifting(seed, drift) for seed in range(pairs)]
        step = ["the lag between them steps" in one.said for one in found]
        refused = ["no two clocks do that" in one.said and not one.accepted for one in found]
        warned = [one.accepted and "crystals" in one.said for one in found]
        silent = [one.accepted and "crystals" not in one.said for one in found]
        errors = [one.drift_error_ppm for one in found if one.accepted]
        print(
            f"{drift:8.0f} ppm    {_share(step)}   {_share(refused)}  {_share(warned)}  "
            f"{_share(silent)}   {_rms(errors):8.1f}",
            flush=True,
        )


def table_of_short_walks(pairs: int) -> None:
    print(
        "\nstrides, %     accepted  wrong stride  as lost  lag error, ms (RMS)  drift, ppm (most)"
    )
    for strides in range(4, 11):
        done = [short(seed, strides) for seed in range(pairs)]
        good = [(one, stride) for one, stride in done if one.accepted]
        wrong = [abs(one.lag_error_s) > 0.3 * stride for one, stride in good]
        errors = [1e3 * one.lag_error_s for one, _ in good]
        drifts = [abs(one.drift_error_ppm) for one, _ in good]
        print(
            f"{strides:5d}          {_share([one.accepted for one, _ in done])}      "
            f"{_share(wrong)}     {_share([_STEPPED in one.said for one, _ in done])}"
            f"   {_rms(errors):12.2f}        {max(drifts, default=float('nan')):12.0f}",
            flush=True,
        )


def _without(sensor: InertialRecording, gone: slice) -> InertialRecording:
    return replace(
        sensor,
        accelerometer=np.delete(sensor.accelerometer, gone, axis=0),
        gyroscope=np.delete(sensor.gyroscope, gone, axis=0),
        magnetometer=None
        if sensor.magnetometer is None
        else np.delete(sensor.magnetometer, gone, axis=0),
    )


def raw(seed: int, size_s: float, procedure: str) -> tuple[Outcome, tuple[bool, bool]]:
    """Lose samples of both sensors of a demo walk, and compute the angle from what is left."""
    walk = demo_trial(seed % 6 + 1, seed=2000 + seed // 6)
    assert walk.reference is not None
    rng = np.random.default_rng([seed, 4])
    one = walk.sensors.proximal
    place = float(rng.uniform(30.0, one.time_s[-1] - 15.0))
    first = round((place - one.start_s) * one.rate_hz)
    gone = slice(first, first + round(size_s * one.rate_hz))
    pair = SensorPair(*(_without(x, gone) for x in (one, walk.sensors.distal)))
    trial = WearableTrial(walk=pair, static=walk.static, functional=walk.functional)
    try:
        angle = replace(estimate_motion(trial, procedure).angle, source="wearable.csv")
    except TwinangleError as error:
        return Outcome(False, str(error)), (False, False)
    other = replace(walk.reference, source="reference.csv")
    found = outcome((angle, other), walk.truth.lag_s, walk.truth.drift_ppm)
    if size_s == 0:
        return found, (False, False)
    return found, found.named("wearable", size_s, place)


def table_of_raw_losses(walks: int) -> None:
    print("\nlost in both sensors, %      caught   place   named  silent error")
    for procedure in ("vqf", "vqf-joint-centre"):
        for size in (0.0, 0.05, 0.1, 0.2, 0.5):
            done = [raw(k, size, procedure) for k in range(walks)]
            caught = [not one.accepted or "lost" in one.said for one, _ in done]
            place, named = ([part[k] for _, part in done] for k in (0, 1))
            silent = _silent([one for one, _ in done]) if size else []
            print(
                f"{procedure:18s} {size:4.2f} s   {_share(caught)}  {_share(place)}  "
                f"{_share(named)}  {_share(silent)}",
                flush=True,
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pairs", type=int, default=40, help="of each fault")
    parser.add_argument("--raw", type=int, metavar="N", help="N demo walks instead")
    options = parser.parse_args()
    if options.raw:
        table_of_raw_losses(options.raw)
        return
    tables: tuple[Callable[[int], None], ...] = (
        table_of_losses,
        table_of_drifts,
        table_of_short_walks,
    )
    for table in tables:
        table(options.pairs)


if __name__ == "__main__":
    main()
