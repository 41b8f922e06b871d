import numpy as np


def test_contest_shows_every_interval(drawn_of_larger, larger):
    contest = larger.ranking[0].value
    _, paired = drawn_of_larger["contest_indoor"].figure.axes
    ends = [line.get_xdata() for line in paired.get_lines() if len(line.get_xdata()) == 2]
    assert contest.differences
    for pair in contest.differences:
        assert any(np.array_equal(line, [pair.lower, pair.upper]) for line in ends)
