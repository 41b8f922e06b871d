"""Cycles of simulated walks with turns, from noisy sensors, against what the simulation knows."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from twinangle.cycles import find_cycles
from twinangle.signals.recording import CycleSet, PairedAngles
from twinangle.simulate import SimulatedTruth, simulate_walk

SEEDS = range(6)
METHODS = ["shank-gyroscope", "angle-peak"]


@dataclass(frozen=True)
class Case:
    paired: PairedAngles
    sagittal: NDArray[np.float64]
    vertical: NDArray[np.float64]
    truth: SimulatedTruth

    def cycles(self, method: str, **changes: object) -> CycleSet:
        options = {
            "sagittal_rate_rad_s": self.sagittal,
            "vertical_rate_rad_s": self.vertical,
        } | changes
        return find_cycles(self.paired, method=method, **options)


@cache
def simulated(seed: int) -> Case:
    """Return an invented walk: strides of 0.95 to 1.4 s, turns of 1.8 to 3.5 s."""
    rng = np.random.default_rng(100 + seed)
    trial = simulate_walk(
        rng=rng,
        side="left" if seed % 2 else "right",
        stride_s=rng.uniform(0.95, 1.4),
        stride_cv=rng.uniform(0.005, 0.03),
        knee_sd_deg=rng.uniform(0.5, 2.5),
        turn_s=rng.uniform(1.8, 3.5),
        with_reference=False,
    )
    truth, gyroscope = trial.truth, np.array(trial.sensors.distal.gyroscope)
    to_segment = Rotation.from_quat(np.array(truth.mounting_distal), scalar_first=True)
    to_earth = Rotation.from_quat(np.array(truth.sensors.distal.quaternion), scalar_first=True)
    return Case(
        PairedAngles(truth.knee.angle_deg, None, 0.0, truth.knee.rate_hz),
        to_segment.apply(gyroscope)[:, 1],
        to_earth.apply(gyroscope)[:, 2],
        truth,
    )


@pytest.fixture(params=SEEDS)
def case(request):
    return simulated(request.param)


def share_in_turns(cycles, turns):
    """Part of each cycle that lies within a turn."""
    inside = np.zeros(cycles.start_s.size)
    for turn in turns:
        overlap = np.minimum(cycles.end_s, turn.end_s) - np.maximum(cycles.start_s, turn.start_s)
        inside += np.maximum(overlap, 0.0)
    return inside / cycles.duration_s


def straight(cycles, truth):
    """Cycles within the steady walk that touch no turn, but for the first and last stride."""
    stride = np.median(cycles.duration_s)
    return (
        (share_in_turns(cycles, truth.turns) == 0)
        & (cycles.start_s > truth.walking.start_s + stride)
        & (cycles.end_s < truth.walking.end_s - stride)
    )


@pytest.mark.parametrize("method", METHODS)
def test_turns_go_and_straight_cycles_stay(case, method):
    cycles = case.cycles(method)
    share = share_in_turns(cycles, case.truth.turns)
    ordinary = straight(cycles, case.truth)

    # The heading hardly changes in the first tenth of a second of a turn: up to a third of a
    # cycle may reach into one (its heading then changes by less than 2°).
    assert share[cycles.kept].max() < 0.34
    assert ordinary.sum() >= 20
    assert cycles.kept[ordinary].mean() >= 0.95


@pytest.mark.parametrize("method", METHODS)
def test_the_per_cycle_sd_is_the_true_one(case, method):
    cycles = case.cycles(method)
    sd = cycles.wearable_deg[cycles.kept].std(axis=0, ddof=1).mean()

    assert abs(sd - case.truth.cycle_sd_deg) <= 0.15


def test_with_turns_left_in_the_per_cycle_sd_is_wrong(case):
    """The trap: the same cycles, kept through the turns, overstate the SD."""
    cycles = case.cycles("shank-gyroscope")
    walking = (cycles.start_s > case.truth.walking.start_s) & (
        cycles.end_s < case.truth.walking.end_s
    )
    left_in = cycles.wearable_deg[walking].std(axis=0, ddof=1).mean()

    assert left_in > case.truth.cycle_sd_deg + 0.15


def contact_errors_s(case):
    cycles = case.cycles("shank-gyroscope")
    true = case.truth.initial_contact_s
    found = cycles.start_s[cycles.kept]
    return found - true[np.abs(true - found[:, None]).argmin(axis=1)]


def test_contacts_lie_within_fifteen_milliseconds_of_the_true_ones():
    errors = [contact_errors_s(simulated(seed)) for seed in SEEDS]

    # The simulated trough lies 2 % of a stride after contact, so its lateness varies with the
    # stride's length; within a walk it hardly varies.
    assert abs(np.concatenate(errors).mean()) <= 0.015
    assert np.concatenate(errors).std() <= 0.010
    assert max(error.std() for error in errors) <= 0.003


def test_the_functional_movement_before_the_walk_is_not_taken_for_walking(case):
    for method in METHODS:
        cycles = case.cycles(method)
        assert (cycles.start_s[cycles.kept] > case.truth.walking.start_s - 2.0).all()


def test_a_stretch_that_leaves_out_the_rest_gives_the_same_kept_cycles(case):
    steady = case.truth.walking
    everything = case.cycles("shank-gyroscope")
    part = case.cycles("shank-gyroscope", start_s=steady.start_s - 0.5, end_s=steady.end_s + 0.5)

    kept = everything.start_s[everything.kept]
    shared = np.isin(np.round(part.start_s[part.kept], 3), np.round(kept, 3))
    assert shared.mean() >= 0.95
