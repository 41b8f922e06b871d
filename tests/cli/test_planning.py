import re

import numpy as np
import pytest

from twinangle.agreement.planning import participants_for_limits
from twinangle.errors import StudyError
from twinangle.plan import SEED, Aims, planned_sizes


def test_every_aim_gets_a_sentence_and_what_it_rests_on():
    lines = planned_sizes(Aims(sd_between=1.5, sd_within=0.8, cycles=30, precision=1, margin=5))
    sentences = [line for line in lines if not line.startswith("  ")]
    assert len(sentences) == 4  # two aims, both together, and what to expect
    assert any("simulated studies" in line for line in lines)
    assert any("towards the bias and" in line for line in lines)  # the arms are told apart
    assert len(set(lines)) == len(lines)


def test_an_aim_about_conditions_needs_no_limits():
    lines = planned_sizes(Aims(cycles=12, other_cycles=30, sd_ratio=1.6, sd_log_ratio=0.1))
    assert "12 cycles a participant under the one and 30 under the other" in lines[1]
    assert not any("limit" in line for line in lines)


def test_numbers_are_those_of_the_statistics():
    size = participants_for_limits(1.0, sd_between=1.5, rng=np.random.default_rng(SEED))
    assert planned_sizes(Aims(sd_between=1.5, precision=1.0))[0].startswith(
        f"{size.n} participants"
    )


def test_test_and_retest_is_planned_by_sessions():
    lines = planned_sizes(Aims(sem=1.5, sem_precision=0.4))
    needed = [int(re.match(r"(\d+) participants", line)[1]) for line in lines if line[0] != " "]
    assert len(needed) == 4  # 2, 3, 4 and 5 sessions
    assert needed == sorted(needed, reverse=True)
    one = planned_sizes(Aims(sem=1.5, sem_precision=0.4, sessions=3))
    assert one[0].startswith(f"{needed[1]} participants")
    both = planned_sizes(Aims(sem=1.5, sem_precision=0.4, sessions=3, sd_between=1.5, precision=1))
    assert any(line.startswith("For each aim above: ") for line in both)


@pytest.mark.parametrize("margin", [4, 6, 15, 60])
def test_no_sentence_contradicts_another(margin):
    # "3 participants are needed" was followed by "3 participants are too few".
    lines = planned_sizes(Aims(sd_between=1.5, sd_within=1.0, cycles=20, margin=margin))
    needed = int(re.match(r"(\d+) participants are needed", lines[0])[1])
    assert needed >= 4
    assert f"studies of {needed} participants" in lines[-1]
    reached = re.search(r"([\d.]+) % of simulated studies of that size reach it", lines[0])[1]
    assert float(reached) >= 80
    assert f"inside in {reached} %" in lines[-1]  # the same studies
    assert not any("too few" in line for line in lines)


@pytest.mark.parametrize(
    ("aims", "message"),
    [
        (Aims(sd_between=1.5), "nothing to plan for"),
        (Aims(sem=1.5), "nothing to plan for"),
        (Aims(sem_precision=0.4), "go together"),
        (Aims(sem=1.5, sem_precision=0.4, sessions=1), "n_sessions"),
        (Aims(margin=5), "need --sd-between"),
        (Aims(sd_between=5, margin=2), "not within ±2"),
        (Aims(sd_between=1, precision=-1), "precision"),
        (Aims(sd_between=1, precision=1, power=80), "--power must lie between 0 and 1"),
        (Aims(sd_ratio=1.3), "--sd-ratio needs --cycles"),
        (Aims(cycles=10, sd_ratio=1), "no difference to be shown"),
        (Aims(cycles=10, sd_ratio=1.5, sd_log_ratio=-1), "--sd-log-ratio must be 0 or more"),
        (Aims(cycles=10, sd_ratio=-1), "--sd-ratio must be above 0"),
    ],
)
def test_aims_that_cannot_be_planned_for_are_refused(aims, message):
    with pytest.raises(StudyError, match=message):
        planned_sizes(aims)
