"""Every quaternion operation against scipy.spatial.transform.Rotation (the reference library)."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from twinangle.wearable import quaternions


def random_rotations(seed, n=200):
    return Rotation.random(n, rng=np.random.default_rng(seed))


def as_wxyz(rotation):
    return rotation.as_quat(scalar_first=True)


@pytest.mark.parametrize("seed", range(3))
def test_product_inverse_and_rotation_match_scipy(seed):
    a, b = random_rotations(seed), random_rotations(seed + 10)
    vector = np.random.default_rng(seed).normal(size=(200, 3))

    product = quaternions.multiply(as_wxyz(a), as_wxyz(b))
    same = np.abs(np.sum(product * as_wxyz(a * b), axis=1))
    assert_allclose(same, 1.0, atol=1e-12)
    assert_allclose(quaternions.conjugate(as_wxyz(a)) @ np.ones(4), as_wxyz(a) @ [1, -1, -1, -1])
    assert_allclose(quaternions.rotate(as_wxyz(a), vector), a.apply(vector), atol=1e-12)
    assert_allclose(quaternions.cross(vector, vector[::-1]), np.cross(vector, vector[::-1]))


def test_rotation_vectors_match_scipy_from_tiny_to_nearly_half_a_turn():
    axes = random_rotations(0, 50).apply([0, 0, 1.0])
    for angle in (0.0, 1e-14, 1e-9, 1e-3, 1.0, 3.1415):
        rotation = Rotation.from_rotvec(angle * axes)
        assert_allclose(
            quaternions.rotation_vector(as_wxyz(rotation)), rotation.as_rotvec(), atol=1e-12
        )
        assert_allclose(
            quaternions.rotation_vector(-as_wxyz(rotation)), rotation.as_rotvec(), atol=1e-12
        )


def test_turn_about_axis_and_angle_between_match_scipy():
    axis = np.array([0.6, 0.0, 0.8])
    angle = np.linspace(-3, 3, 13)
    turned = Rotation.from_rotvec(angle[:, None] * axis)
    assert_allclose(quaternions.about_axis(axis, angle), as_wxyz(turned), atol=1e-12)
    first, second = random_rotations(1), random_rotations(2)
    assert_allclose(
        quaternions.angle_between(as_wxyz(first), as_wxyz(second)),
        np.degrees((first.inv() * second).magnitude()),
        atol=1e-9,
    )


def test_body_rate_is_exact_for_a_steady_turn_and_keeps_gaps():
    rate = np.array([0.3, -2.0, 1.1])
    turned = Rotation.from_rotvec(np.arange(50)[:, None] / 100 * rate)
    quaternion = as_wxyz(random_rotations(4, 1)[0] * turned)
    quaternion[20] = np.nan

    found = quaternions.body_rate(quaternion, 100.0)

    assert np.isnan(found[[19, 21]]).all()
    assert_allclose(np.delete(found, [19, 20, 21], axis=0), np.tile(rate, (47, 1)), atol=1e-9)
