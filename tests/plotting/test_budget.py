from numpy.testing import assert_allclose

from twinangle.plotting.budget import PARTS


def test_budget_bars_add_up_to_the_whole(drawn_of_larger, larger):
    axes = drawn_of_larger["error_budget"].figure.axes[0]
    ends = [patch.get_x() + patch.get_width() for patch in axes.patches]
    totals = [item.value.total for item in larger.budget]
    n = len(larger.budget)
    assert len(ends) == n * len(PARTS)
    assert_allclose(ends[-n:], totals, rtol=1e-9)
