import numpy as np
from numpy.testing import assert_allclose
from scipy import stats

from twinangle.plotting.looks import drawing_style
from twinangle.plotting.reliability import draw_reliability
from twinangle.results import named


def of_sessions(results):
    found = {
        key[2]: each
        for key, each in named(results.reliability)
        if key[0] == "kalman" and (each.design, each.instrument) == ("sessions", "wearable")
    }
    assert len(found) == 3
    return found


def test_marks_are_the_sessions_about_each_persons_mean(over_days):
    with drawing_style():
        (drawn,) = draw_reliability(over_days)
    assert drawn.name == "sessions_indoor"
    for axes, found in zip(drawn.figure.axes, of_sessions(over_days).values(), strict=True):
        scores = np.array(found.scores)
        marks = [line for line in axes.get_lines() if line.get_linestyle() == "None"]
        assert len(marks) == scores.shape[1]
        for k, line in enumerate(marks):
            assert_allclose(line.get_xdata(), scores.mean(axis=1))
            assert_allclose(line.get_ydata(), scores[:, k] - scores.mean(axis=1))
        assert len({(line.get_marker(), line.get_markerfacecolor()) for line in marks}) == 3
        levels = [float(line.get_ydata()[0]) for line in axes.get_lines()]
        reach = stats.norm.ppf(0.975) * found.error.sem_agreement
        assert any(np.isclose(level, reach) for level in levels)
        assert any(np.isclose(level, -reach) for level in levels)


def test_words_say_over_how_many_and_one_column_fits_a_page(over_days):
    with drawing_style():
        (drawn,) = draw_reliability(over_days, 88.0)
    assert drawn.alternative.startswith("3 participants in 3 sessions")
    width, height = drawn.figure.get_size_inches() * 25.4
    assert round(width) == 88
    assert height <= 120


def test_without_sessions_nothing_is_drawn(larger, study):
    assert draw_reliability(larger) == draw_reliability(study) == ()
