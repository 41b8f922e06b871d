import pytest

from twinangle.agreement.planning import participants_for_limits
from twinangle.errors import StudyError
from twinangle.plan import Aims, planned_sizes


def test_every_aim_gets_a_sentence_and_what_it_rests_on():
    lines = planned_sizes(
        Aims(sd_between=1.5, sd_within=0.8, cycles=30, precision=1, margin=5, sd_ratio=1.3)
    )
    sentences = [line for line in lines if not line.startswith("  ")]
    assert len(sentences) == 6  # five aims and the simulation
    assert any("simulated studies" in line for line in lines)
    assert any("limits of agreement" in line for line in sentences)
    assert any("normal" in line for line in lines)


def test_numbers_are_those_of_the_statistics():
    size = participants_for_limits(1.0, sd_between=1.5)
    assert planned_sizes(Aims(sd_between=1.5, precision=1.0))[0].startswith(
        f"{size.n} participants"
    )


@pytest.mark.parametrize(
    ("aims", "message"),
    [
        (Aims(sd_between=1.5), "nothing to plan for"),
        (Aims(sd_between=5, margin=2), "not within ±2"),
        (Aims(sd_between=1, precision=-1), "precision"),
        (Aims(sd_between=1, sd_ratio=1), "no difference to be shown"),
    ],
)
def test_aims_that_cannot_be_planned_for_are_refused(aims, message):
    with pytest.raises(StudyError, match=message):
        planned_sizes(aims)
