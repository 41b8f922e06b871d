"""The magnetic field against gyroscope and gravity."""

from pathlib import Path

import numpy as np
import pytest

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import field_assignment
from twinangle.plausibility.magnetometer import dip_deg, field_scale, magnetometer
from twinangle.signals.recording import InertialRecording
from twinangle.simulate import simulate_walk

BROAD = Path(__file__).resolve().parents[2] / "../shared/data/broad"
if not BROAD.is_dir():  # two of the trials; the others are looked for beside the repository
    BROAD = Path(__file__).resolve().parents[2] / "reference_data/broad"


def told(pair):
    return {(each.test, each.subject): each for each in magnetometer(Evidence(sensors=pair))}


def test_honest_sensors_pass_and_show_the_dip_they_were_given(pair):
    assert {each.verdict for each in told(pair).values()} == {"consistent"}
    assert dip_deg(pair.distal) == pytest.approx(66.0, abs=4.0)  # as simulated


def test_a_wrong_sign_is_named(pair, spoil):
    found = told(spoil(pair, "distal", magnetometer=lambda field: field * [1, -1, 1]))
    wrong = found["magnetometer", "distal sensor"]
    assert wrong.verdict == "contradicted"
    assert "y has the wrong sign" in wrong.said
    assert found["magnetometer", "proximal sensor"].verdict == "consistent"


def test_a_magnetometer_negated_as_a_whole_shows_in_the_dip(pair, spoil):
    found = told(spoil(pair, "distal", magnetometer=np.negative))
    assert found["magnetometer", "distal sensor"].verdict == "consistent"
    assert found["dip", "both sensors"].verdict == "contradicted"


@pytest.mark.parametrize(("factor", "verdict"), [(0.7, "contradicted"), (0.82, "doubtful")])
def test_the_scale_of_a_gyroscope_is_found(pair, spoil, factor, verdict):
    found = told(spoil(pair, "distal", gyroscope=lambda rate: factor * rate))
    scale = found["gyroscope scale", "distal sensor"]
    assert scale.verdict == verdict
    assert scale.value == pytest.approx(1 / factor, rel=0.05)


def test_a_bias_is_not_taken_for_a_scale(pair, spoil):
    found = told(spoil(pair, "distal", gyroscope=lambda rate: rate + np.radians([5.0, 0.0, 0.0])))
    assert found["gyroscope scale", "distal sensor"].verdict in ("consistent", "not tested")


def test_over_strong_iron_the_scale_is_not_judged():
    """20 µT in the floor: the field scatters least at 0.81 of an honest gyroscope's rates."""
    walk = simulate_walk(
        rng=np.random.default_rng([0, 200]), walk_s=60.0, rate_hz=200.0, floor_ut=20.0
    )
    scale = told(walk.sensors)["gyroscope scale", "distal sensor"]
    assert scale.verdict == "not tested"
    assert "iron near by" in scale.said


def test_the_hand_moved_board_passes_even_beside_a_magnet():
    """Laidig et al. (2021), Data 6:72."""
    files = sorted(BROAD.glob("*.npz"))
    assert len(files) >= 2
    for file in files[:3]:
        held = np.load(file)
        signals = (held[name].astype(float) for name in ("imu_acc", "imu_gyr", "imu_mag"))
        sensor = InertialRecording(*signals, 0.0, 2000 / 7, file.stem)
        assert field_assignment(sensor).ratio < 0.5
        assert field_scale(sensor).scale == pytest.approx(1.0, abs=0.08)
