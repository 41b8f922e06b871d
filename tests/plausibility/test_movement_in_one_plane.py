"""The reference held against the gyroscopes where all movement is in one plane.

In squats thigh and shank turn in proportion: every split of the knee's rate between the two fits
them, and most splits hold for nothing else. The walk after them decides.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from twinangle.plausibility.common_time import CommonTime
from twinangle.plausibility.fit import _in_turn
from twinangle.plausibility.lag_windows import lag_windows

RATE_HZ = 50.0
AXES = np.array([0.27, 0.86, -0.43]), np.array([-0.35, 0.93, 0.11])  # flexion's, in each sensor


LATE_S = 0.004  # of the reference: what is slow agrees better than what is fast


def rates(time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return thigh and shank, degrees a second: in proportion up to 22 s, then a walk."""
    squat = np.where(time < 22.0, 120.0 * np.sin(2 * np.pi * 0.5 * time), 0.0)

    def stride(phase: float) -> np.ndarray:
        turn = 2 * np.pi * 0.9 * time + phase
        return np.where(time > 23.0, 150.0 * np.sin(turn) + 90.0 * np.sin(2 * turn + 0.7), 0.0)

    return squat / 2 + 0.5 * stride(0.0), -squat / 2 + stride(1.9)


def planar(seed: int, second_reference: bool = False) -> CommonTime:
    """Return 22 s of squats and 58 s of walking, degrees a second, in one plane."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 80.0, 1.0 / RATE_HZ)
    thigh, shank = rates(time)
    late = rates(time - LATE_S)
    slope = late[0] - late[1]
    if second_reference:  # of another recording, from the middle of the walk
        slope = np.where(time > 52.0, 170.0 * np.sin(2 * np.pi * 0.71 * time), slope)
    proximal, distal = (
        rate[:, None] * axis / np.linalg.norm(axis) + rng.normal(0.0, 0.02, (time.size, 3))
        for rate, axis in zip((thigh, shank), AXES, strict=True)
    )
    slope = slope + rng.normal(0.0, 0.5, time.size)
    return CommonTime(time, RATE_HZ, proximal, distal, np.cumsum(slope) / RATE_HZ, slope, ())


@pytest.mark.parametrize("seed", range(4))
def test_squats_do_not_decide_what_belongs_to_the_walk(seed):
    windows = lag_windows(planar(seed))
    told = np.isfinite(windows.explained)
    assert told.sum() > 30
    assert windows.explained[told].min() > 0.97
    assert np.abs(windows.lag_s[told]).max() < 0.01


def test_another_recording_in_the_second_half_is_still_strange():
    windows = lag_windows(planar(0, second_reference=True))
    later = windows.time_s > 57.0
    assert np.nanmax(windows.explained[later]) < 0.5
    assert np.nanmin(windows.explained[(windows.time_s > 5.0) & (windows.time_s < 47.0)]) > 0.9


def test_legs_that_bend_in_turn_are_told_and_spliced_files_are_not():
    """The leg with the sensors bends up to 10 s, the one with the reference from 11 to 21 s."""
    both, time = planar(0), planar(0).time_s
    worn, against = time < 10.0, (time > 11.0) & (time < 21.0)
    walk = time > 22.0
    legs = replace(
        both,
        proximal=np.where((worn | walk)[:, None], both.proximal, 0.0),
        distal=np.where((worn | walk)[:, None], both.distal, 0.0),
        slope=np.where(against | walk, both.slope, 0.0),
    )
    assert "left and right were exchanged" in _in_turn(legs, lag_windows(both))
    for other in (both, planar(0, second_reference=True)):
        assert _in_turn(other, lag_windows(other)) == ""
