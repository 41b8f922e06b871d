from itertools import combinations

from matplotlib.colors import to_rgb
from numpy.testing import assert_allclose

from twinangle.plotting.budget import PART_COLOURS, PART_HATCHES, PARTS


def test_budget_bars_add_up_to_the_whole(drawn_of_larger, larger):
    axes = drawn_of_larger["error_budget"].figure.axes[0]
    ends = [patch.get_x() + patch.get_width() for patch in axes.patches]
    totals = [item.value.total for item in larger.budget]
    n = len(larger.budget)
    assert len(ends) == n * len(PARTS)
    assert_allclose(ends[-n:], totals, rtol=1e-9)


def test_any_two_parts_differ_in_grey():
    def grey(colour):  # ITU-R BT.601, as programs that print in grey do
        return sum(w * c for w, c in zip((0.299, 0.587, 0.114), to_rgb(colour), strict=True))

    looks = list(zip(map(grey, PART_COLOURS), PART_HATCHES, strict=True))
    assert len(looks) == len(PARTS)
    for (one, hatch), (other, second) in combinations(looks, 2):
        assert hatch != second or abs(one - other) > 0.05, (hatch, one, other)
