"""Axes of gyroscope and accelerometer: mistakes are named, honest recordings pass."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from twinangle.plausibility.axes import as_columns, changed, in_words, up_to_sign
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import frame, gravity_assignment
from twinangle.plausibility.turned_back import SIGNED, scatter_by_mapping, turns
from twinangle.signals.recording import Interval, SensorPair
from twinangle.simulate import simulate_walk
from twinangle.simulate.demo import demo_trial


def verdicts(pair, **more):
    return [outcome.verdict for outcome in frame(Evidence(sensors=pair, **more))]


def test_the_scatter_under_each_mapping_is_that_of_channels_mapped_by_hand(pair):
    """The 48 by two integrations are the 48 by 48 integrations."""
    sensor = pair.distal
    part = slice(2500, 4000)
    rate, force = sensor.gyroscope[part], sensor.accelerometer[part]
    found = scatter_by_mapping(rate, force, 100.0, 4.0).variance
    for k in (0, 5, 17, 30, 47):
        by_hand = scatter_by_mapping(rate @ SIGNED[k].T, force, 100.0, 4.0).variance
        np.testing.assert_allclose(found[:, k], by_hand[:, 0], rtol=1e-9)


def test_gravity_stands_still_under_the_right_mapping_alone():
    """A sensor turned by hand without acceleration, by scipy's rotations."""
    time = np.arange(3000) / 100
    vectors = np.stack([np.sin(0.9 * time), 0.8 * np.cos(1.3 * time), 0.7 * time], axis=1)
    turn = Rotation.from_rotvec(vectors)
    step = (turn[:-1].inv() * turn[1:]).as_rotvec() * 100
    rate = np.concatenate([step[:1], (step[1:] + step[:-1]) / 2, step[-1:]])
    scatter = scatter_by_mapping(rate, turn.inv().apply([0, 0, 9.81]), 100.0, 4.0).summed(1e-9)
    assert scatter[0] < 1e-3
    assert scatter[1:].min() > 100 * scatter[0]


@pytest.mark.parametrize("segment", ["proximal", "distal"])
@pytest.mark.parametrize("axis", range(3))
def test_one_wrong_sign_of_a_gyroscope_is_named(pair, spoil, segment, axis):
    flip = np.where(np.arange(3) == axis, -1.0, 1.0)
    found = frame(Evidence(sensors=spoil(pair, segment, gyroscope=lambda rate: rate * flip)))
    bad, good = found if segment == "proximal" else found[::-1]
    assert good.verdict == "consistent"
    assert bad.verdict == "contradicted"
    assert bad.subject == f"{segment} sensor"
    assert f"In the gyroscope, {'xyz'[axis]} has the wrong sign" in bad.said
    assert f"[wearable.{segment}] `gyroscope`" in bad.said


def test_exchanged_channels_of_an_accelerometer_are_named_by_the_third_instrument(pair, spoil):
    found = frame(Evidence(sensors=spoil(pair, "distal", accelerometer=lambda f: f[:, [1, 0, 2]])))
    assert "In the accelerometer, x and y are exchanged" in found[1].said
    assert "The magnetometer agrees with the gyroscope." in found[1].said


def test_a_left_handed_frame_is_told_as_one(pair, spoil):
    mirror = np.array([1.0, 1.0, -1.0])
    both = dict.fromkeys(("accelerometer", "gyroscope"), lambda values: values * mirror)
    (_, found) = frame(Evidence(sensors=spoil(pair, "distal", **both)))
    assert found.verdict == "contradicted"
    assert "no right-handed frame" in found.said


def test_what_one_sensor_cannot_tell_is_not_told(pair, spoil):
    """Law: a whole sensor turned in its case, and an accelerometer negated, look the same."""
    order = dict.fromkeys(("accelerometer", "gyroscope", "magnetometer"), lambda v: v[:, [1, 2, 0]])
    for change in (order, {"accelerometer": np.negative}):
        ratio = gravity_assignment(spoil(pair, "distal", **change).distal).ratio
        assert ratio == pytest.approx(gravity_assignment(pair.distal).ratio, rel=1e-6)


def test_a_sensor_that_hardly_turns_is_not_tested_and_says_so(pair):
    outcomes = frame(Evidence(sensors=pair, within=(Interval(0.0, 6.0),)))
    assert {each.verdict for each in outcomes} == {"not tested"}
    assert "turns enough in 0 windows" in outcomes[0].said
    (none,) = frame(Evidence(sensors=None))
    assert none.verdict == "not tested"


def test_open_walks_pass_and_their_mistakes_do_not(walk, spoil):
    """The ratio on the open walks is at most 1.2; the limit is 2."""
    pair = walk()
    outcomes = frame(Evidence(sensors=pair))
    assert [each.verdict for each in outcomes] == ["consistent"] * 2
    assert max(each.value for each in outcomes) < 1.3
    swapped = spoil(pair, "proximal", gyroscope=lambda rate: rate[:, [1, 0, 2]])
    assert verdicts(swapped) == ["contradicted", "consistent"]


def test_mappings_in_words():
    turned = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, -1.0]])
    assert in_words(turned) == "x and y are exchanged, and z has the wrong sign"
    assert as_columns(turned) == "(y, x, −z)"
    assert changed(turned) == 2
    assert changed(up_to_sign(np.diag([1.0, -1.0, -1.0]))) == 1
    assert in_words(-np.eye(3)) == "all three axes have the wrong sign"
    assert len({tuple(mapping.ravel()) for mapping in SIGNED}) == 48


def test_an_honest_thigh_in_a_short_walk_is_not_accused():
    """In 20 s its own acceleration made other axes look 2.3 times as good: it was refused."""
    walk = demo_trial(6, walk_s=20.0, placement_sd_deg=2.0, hatch_deg=0.0)
    thigh = walk.sensors.proximal
    within = (walk.static, walk.functional, Interval(23.9, 44.1))  # as its trials table has it
    found = frame(Evidence(sensors=walk.sensors, within=within))
    assert [each.verdict for each in found] == ["consistent", "consistent"]
    exchanged = replace(thigh, accelerometer=thigh.accelerometer[:, [0, 2, 1]])
    pair = replace(walk.sensors, proximal=exchanged)
    assert verdicts(pair, within=within) == ["contradicted", "consistent"]


def test_an_honest_thigh_in_a_slow_walk_is_not_accused():
    """Strides of 1.5 s passed through means of 2 s: other axes looked 2.8 times as good."""
    walk = simulate_walk(
        rng=np.random.default_rng([78, 63]),
        soft_tissue_deg=2.0,
        stride_s=1.5,
        speed_m_s=0.7,
        walk_s=25.0,
    )
    end_s = walk.sensors.proximal.time_s[-1] - 2.9
    within = (walk.static, walk.functional, Interval(walk.functional.end_s + 3.4, end_s))
    turn = Rotation.random(3, random_state=3)[0].as_matrix().T
    pair = SensorPair(
        *(turned_by(turn, sensor) for sensor in (walk.sensors.proximal, walk.sensors.distal))
    )
    found = frame(Evidence(sensors=pair, within=within))
    assert [each.verdict for each in found] == ["consistent", "consistent"]
    order = [1, 0, 2]
    thigh = replace(pair.proximal, gyroscope=pair.proximal.gyroscope[:, order])
    assert verdicts(replace(pair, proximal=thigh), within=within)[0] == "contradicted"


def turned_by(turn, sensor):
    """Return what a sensor would have recorded in a frame turned within its case."""
    names = ("accelerometer", "gyroscope", "magnetometer")
    return replace(sensor, **{name: getattr(sensor, name) @ turn for name in names})


def test_turns_are_scipys_rotations_one_after_the_other():
    rates = np.random.default_rng(5).normal(size=(2, 37, 3))
    found = turns(rates, 25.0)
    for row, orientation in zip(rates, found, strict=True):
        whole = Rotation.identity()
        for k in range(1, len(row)):
            whole = whole * Rotation.from_rotvec((row[k] + row[k - 1]) / 2 / 25.0)
            between = whole.inv() * Rotation.from_quat(orientation[k], scalar_first=True)
            assert between.magnitude() < 1e-12
