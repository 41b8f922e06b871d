"""How often honest simulated recordings are told that they do not determine the hinge axis.

Run: ``python benchmarks/hinge_axis.py [SEEDS]`` (30). A row a kind of recording and stretch:

ratio   least and median of how much worse than the best an axis 10° away fits
apart   largest angle between the hinge's axis and the mean rate's, degrees
told    how many are warned of, and how many refused, with `axis_method = "hinge"`
"""

import sys

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import kind_of
from twinangle.signals.recording import OrientationPair
from twinangle.simulate import simulate_walk
from twinangle.wearable import quaternions
from twinangle.wearable.calibration import calibrate
from twinangle.wearable.flexion import (
    angle_between_axes,
    functional_axis,
    relative_orientation,
    relative_rate,
)
from twinangle.wearable.heading.hinge import hinge_axes
from twinangle.wearable.heading.hinge_certainty import certainty
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.procedure_input import OrientedTrial, slice_pair

KINDS = {
    "skin 1°": {"soft_tissue_deg": 1.0},
    "4° out of plane": {"out_of_plane_deg": 4.0},
    "both": {"soft_tissue_deg": 1.0, "out_of_plane_deg": 4.0},
    "skin 2° and 6° out of plane": {"soft_tissue_deg": 2.0, "out_of_plane_deg": 6.0},
}


def figures(movement: OrientationPair) -> tuple[float, float]:
    """Return the ratio of misfits and the angle to the mean rate's axis in degrees."""
    proximal, distal = (
        quaternions.body_rate(one.quaternion, one.rate_hz)
        for one in (movement.proximal, movement.distal)
    )
    axes = hinge_axes(proximal, distal)
    mean = functional_axis(relative_rate(relative_orientation(movement), movement.distal.rate_hz))
    apart = angle_between_axes(axes.distal, np.array(mean.axis))
    return certainty(proximal, distal, axes), apart


def told(trial: OrientedTrial) -> tuple[bool, bool]:
    """Return whether the trial is warned of, and whether it is refused."""
    try:
        warnings = calibrate(trial, "hinge").warnings
    except AngleError:
        return False, True
    return "hinge-axis-uncertain" in map(kind_of, warnings), False


def main(seeds: int) -> None:
    """Print a row for every kind of recording, with a functional movement and without."""
    print(f"{'recording':30s}{'axis from':12s}{'least':>9s}{'median':>9s}{'apart':>7s}  told")
    for name, settings in KINDS.items():
        rows: dict[str, list[tuple[float, ...]]] = {"functional": [], "walk": []}
        for seed in range(seeds):
            made = simulate_walk(rng=np.random.default_rng(seed), walk_s=20.0, **settings)
            both = made.sensors
            walk = OrientationPair(vqf_offline(both.proximal), vqf_offline(both.distal))
            static = slice_pair(walk, made.static, "static")
            bends = slice_pair(walk, made.functional, "functional")
            for stretch, functional in (("functional", bends), ("walk", None)):
                trial = OrientedTrial(walk, static, functional)
                rows[stretch].append((*figures(functional or walk), *told(trial)))
        for stretch, found in rows.items():
            ratio, apart, warned, refused = np.array(found, dtype=float).T
            print(
                f"{name:30s}{stretch:12s}{ratio.min():9.2f}{np.median(ratio):9.2f}"
                f"{apart.max():7.2f}  {warned.sum():.0f} warned of, {refused.sum():.0f} refused "
                f"of {seeds}",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
