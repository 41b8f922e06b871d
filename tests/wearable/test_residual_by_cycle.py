"""The residual angle cycle by cycle, against closed forms and an invented knee."""

import numpy as np
import pytest

from twinangle.cycles import find_cycles
from twinangle.signals.recording import CycleSet, Interval, PairedAngles
from twinangle.wearable.procedures import WearableTrial, estimate_motion
from twinangle.wearable.quality.residual import residual_by_cycle


def cycles_of(start_s, end_s, reason=None):
    n = len(start_s)
    return CycleSet(
        start_s=np.array(start_s, dtype=float),
        end_s=np.array(end_s, dtype=float),
        reason=("",) * n if reason is None else tuple(reason),
        wearable_deg=np.zeros((n, 101)),
        reference_deg=None,
        method="invented",
    )


def test_closed_form_of_a_sine_and_a_constant():
    time = 5.0 + np.arange(400) / 100
    residual = np.where(time < 7.0, 3.0, 4 * np.abs(np.sin(2 * np.pi * time)))
    one, two = residual_by_cycle(residual, 5.0, 100.0, cycles_of([5.0, 7.0], [7.0, 9.0]))
    assert (one.rms_deg, one.largest_deg) == pytest.approx((3.0, 3.0))
    assert two.rms_deg == pytest.approx(4 / np.sqrt(2))  # RMS of a sine over whole periods
    assert two.largest_deg == pytest.approx(4.0)
    assert (two.index, two.start_s, two.end_s) == (1, 7.0, 9.0)


def test_dropped_cycles_and_cycles_in_gaps_are_left_out():
    residual = np.full(400, 2.0)
    residual[100:200] = np.nan
    residual[200:220] = np.nan
    cycles = cycles_of([0, 1, 2, 3], [1, 2, 3, 4], ["", "", "", "too short"])
    found = residual_by_cycle(residual, 0.0, 100.0, cycles)
    assert [one.index for one in found] == [0, 2]
    assert found[1].rms_deg == pytest.approx(2.0)


def test_whole_cycles_add_up_to_the_mean_square_of_their_span():
    rng = np.random.default_rng(4)
    residual = np.abs(rng.normal(size=1000))
    edges = np.array([0.0, 1.3, 2.41, 3.77, 6.0])
    found = residual_by_cycle(residual, 0.0, 100.0, cycles_of(edges[:-1], edges[1:]))
    counts = np.diff(np.ceil(edges * 100 - 1e-6))
    total = sum(n * one.rms_deg**2 for n, one in zip(counts, found, strict=True))
    assert total == pytest.approx(np.sum(residual[:600] ** 2))


def test_abduction_locked_to_flexion_is_seen_in_every_cycle(coupled, invented):
    for walk, low, high in ((coupled, 2.0, 8.0), (invented, 0.0, 0.8)):
        trial = WearableTrial(walk.pair, Interval(0.5, 3.5), Interval(4.0, 12.0))
        motion = estimate_motion(trial, "vqf")
        angle = motion.angle
        cycles = find_cycles(
            PairedAngles(angle.angle_deg, None, angle.start_s, angle.rate_hz),
            method="angle-peak",
            sagittal_rate_rad_s=motion.sagittal_rate_rad_s,
            vertical_rate_rad_s=motion.vertical_rate_rad_s,
            start_s=18.0,
        )
        found = residual_by_cycle(motion.quality.residual_deg, angle.start_s, angle.rate_hz, cycles)
        assert len(found) == cycles.kept.sum() > 10
        assert all(low < one.rms_deg < high for one in found)
        assert all(one.rms_deg <= one.largest_deg for one in found)
