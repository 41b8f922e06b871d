"""Two legs of one person whose biases are unlike: one person still, and a word about it."""

import numpy as np
import pandas as pd
import pytest

from twinangle.analysis.sides import sides_note


def points(apart, *, people=3, n=400, seed=1):
    """Cycles of both sides, differences of SD 1 within a side, the sides `apart` SDs. Invented."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"P{person}", side, level + sign * apart / 2 + rng.standard_normal())
        for person, level in enumerate(rng.normal(0, 3, people))
        for side, sign in (("left", -1), ("right", 1))
        for _ in range(n)
    ]
    return pd.DataFrame(rows, columns=["participant", "side", "wearable"])


def note_on(frame):
    return sides_note(frame["participant"], frame["side"], frame["wearable"].to_numpy())


@pytest.mark.parametrize(("apart", "said"), [(0.0, False), (1.8, False), (2.2, True), (6.0, True)])
def test_a_word_is_said_from_where_the_points_have_two_peaks(apart, said):
    """numpy's sum of two normal curves is the reference for the number of peaks."""
    x = np.linspace(-8, 8, 4001)
    density = sum(np.exp(-((x - shift) ** 2) / 2) for shift in (-apart / 2, apart / 2))
    inner = density[1:-1]
    peaks = int(((inner > density[:-2]) & (inner > density[2:])).sum())
    note = note_on(points(apart))
    assert (peaks == 2) is said
    assert bool(note) is said
    if said:
        assert "3 participants with both sides" in note
        assert "count as one person" in note


def test_people_with_one_side_each_are_not_held_against_each_other():
    both = points(6.0, people=2)
    first = both["participant"].eq("P0")
    alone = both[(first & both["side"].eq("left")) | (~first & both["side"].eq("right"))]
    assert note_on(alone) == ""
    assert note_on(both[both["side"].eq("left")]) == ""


def test_the_size_of_the_people_s_own_biases_does_not_matter():
    near, far = points(4.0), points(4.0)
    far["wearable"] += far["participant"].map({"P0": -50.0, "P1": 0.0, "P2": 50.0})
    assert note_on(near) == note_on(far) != ""
