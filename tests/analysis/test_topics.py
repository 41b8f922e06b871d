"""Every topic, whatever it is: its rooms, an empty study, one participant, why not, and back."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import twinangle.agreement
import twinangle.analysis
from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.groups import group_trials
from twinangle.analysis.topics import TOPICS
from twinangle.cycles.summary import stride_summary
from twinangle.options import Options
from twinangle.results import (
    Absent,
    NeutralStanding,
    StudyResults,
    TrialResult,
    Variability,
    absences,
    given,
)
from twinangle.results.equality import same_results
from twinangle.results.plain import Keys
from twinangle.results.serialise import topic_fields
from twinangle.signals.recording import CycleSet

OPTIONS = Options(
    confidence=0.95,
    margin_deg=5.0,
    error_ratio=1.0,
    published_interval=True,
    reference_sd_deg=0.2,
    against=None,
    seed=3,
)
POINTS = np.linspace(0, 2 * np.pi, 41)
HINTS = {item.name: item.hint for item in topic_fields(StudyResults)}
each_topic = pytest.mark.parametrize("topic", TOPICS)


def invented(rng, person, condition="indoor", procedure="a", session="1") -> TrialResult:
    """Return a trial of invented curves. No person."""
    n = 10
    reference = 30 - rng.normal(30, 1, (n, 1)) * np.cos(POINTS) + rng.normal(0, 1, (n, 1))
    wearable = reference + rng.normal(1, 1) + rng.normal(0, 0.4, (n, 1)) + 0.5 * np.cos(2 * POINTS)
    start = np.cumsum(rng.normal(1.1, 0.02, n + 1))
    seen = condition == "indoor"
    cycles = CycleSet(
        start_s=start[:-1],
        end_s=start[1:],
        reason=("",) * n,
        wearable_deg=wearable,
        reference_deg=reference if seen else None,
        method="events",
        bout=np.zeros(n, dtype=np.int64),
    )
    return TrialResult(
        person, session, condition, "1", "left", procedure, "ok",
        cycles=cycles,
        agreement=compare_curves(wearable, reference) if seen else None,
        variability=Variability(
            cycle_variability(wearable),
            cycle_variability(reference) if seen else None,
            compare_variability(wearable, reference) if seen else None,
        ),
        budget=error_budget(wearable, reference) if seen else None,
        strides=stride_summary(cycles),
        standing=NeutralStanding(0.0, float(rng.normal(0, 1))),
        covariates={"speed_m_s": float(rng.normal(1.3, 0.1))},
    )  # fmt: skip


def study(people, **of_trial):
    rng = np.random.default_rng(5)
    return [
        invented(rng, f"P{k}", condition, procedure, session)
        for k in range(people)
        for condition, session in (("indoor", "1"), ("indoor", "2"), ("outdoor", "1"))
        for procedure in ("a", "b")
    ]


@pytest.fixture(scope="module")
def six():
    return group_trials(study(6))


@pytest.fixture(scope="module")
def one():
    return group_trials(study(1))


@each_topic
@pytest.mark.parametrize("floor", ["agreement", "analysis"])
def test_every_topic_has_its_room(floor, topic):
    assert find_spec(f"twinangle.{floor}.{topic}")


def rooms(package: ModuleType) -> set[str]:
    """Return the files of a floor that pool a topic."""
    (folder,) = package.__path__
    return {
        path.stem for path in Path(folder).glob("*.py") if "\ndef pool(" in path.read_text("utf-8")
    }


def test_no_room_without_a_line_in_the_list_and_none_without_a_field():
    assert rooms(twinangle.analysis) == set(TOPICS)
    assert list(HINTS) == list(TOPICS)


@each_topic
def test_an_empty_study_has_nothing_to_say(topic):
    failed = replace(study(1)[0], status="failed", reason="invented")
    for trials in ([], [failed]):
        assert TOPICS[topic](group_trials(trials), OPTIONS) == ()


@each_topic
def test_six_participants_give_it_and_it_reads_back_equal(topic, six):
    found = TOPICS[topic](six, OPTIONS)
    assert given(found)
    keys = Keys("deg")
    plain = json.loads(json.dumps(keys.write(found), allow_nan=False))
    assert same_results(keys.read(plain, HINTS[topic], topic), found)


@each_topic
def test_one_participant_is_given_or_told_why_not(topic, one):
    found = TOPICS[topic](one, OPTIONS)
    assert found
    assert all(absent.reason.endswith(".") for _, absent in absences(found))
    keys = Keys("deg")
    plain = json.loads(json.dumps(keys.write(found), allow_nan=False))
    assert same_results(keys.read(plain, HINTS[topic], topic), found)


@each_topic
def test_a_generator_is_its_own_so_that_the_same_comes_out_again(topic, six):
    assert same_results(TOPICS[topic](six, OPTIONS), TOPICS[topic](six, OPTIONS))


@pytest.mark.parametrize(
    ("topic", "trials", "options", "reason"),
    [
        ("forms", study(1), {}, "one participant"),
        ("along_cycle", study(3), {}, "3 participants; limits along the cycle need 4"),
        ("equivalence", study(2), {"margin_deg": None}, "no margin was stated"),
        ("ranking", [t for t in study(2) if t.procedure == "a"], {}, "one procedure"),
        ("conditions", [t for t in study(2) if t.condition == "indoor"], {}, "one condition"),
        (
            "conditions_adjusted",
            [replace(t, covariates={}) for t in study(4)],
            {},
            "no trial has it",
        ),
        ("reliability", study(2), {}, "3 participants"),
        ("sensitivity", study(3), {}, "3 participants; leaving each out"),
    ],
)
def test_what_is_absent_says_why(topic, trials, options, reason):
    found = TOPICS[topic](group_trials(trials), replace(OPTIONS, **options))
    assert any(reason in absent.reason for _, absent in absences(found))
    blank = Keys("deg").read(Keys("deg").write(found), HINTS[topic], topic)
    assert same_results(blank, found)


def test_the_fields_of_the_results_are_empty_until_a_topic_is_pooled():
    results = StudyResults("t", "knee", OPTIONS, (), "0", (), {})
    assert all(getattr(results, topic) == () for topic in TOPICS)
    assert Absent("why.") == Absent("why.", part="")
