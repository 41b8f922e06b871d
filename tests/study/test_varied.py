"""Settings varied in Python: validated as a study file is, and told of in the results."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from twinangle.errors import StudyError
from twinangle.simulate import write_demo_study
from twinangle.study import AngleTrial, Study, read_study
from twinangle.study.instruments import SEVERAL
from twinangle.study.section_faults import BY_KIND, PLAIN_SECTIONS
from twinangle.study.varied import VARIED, Changes


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Study:
    folder = tmp_path_factory.mktemp("varied") / "study"
    write_demo_study(folder, participants=1, walk_s=12.0)
    return read_study(str(folder))


def test_keys_go_to_their_sections_and_the_study_stays(study):
    varied = study.with_(procedures=["vqf"], acceptable_deg=3)
    assert varied.wearable.procedures == ("vqf",)
    assert varied.options.margin_deg == 3
    assert study.options.margin_deg == 5
    assert varied.trials is study.trials
    assert varied.warnings[-1] == (
        "Settings varied after the study file was read: procedures from "
        f"{study.wearable.procedures!r} to ('vqf',); acceptable_deg from 5.0 to 3."
    )


def test_a_section_takes_what_a_file_takes(study):
    assert study.with_(cycles={"method": "angle-peak"}).cycles.method == "angle-peak"
    assert study.with_(synchronisation={"method": "manual", "lag_s": 1.5}).synchronisation.lag_s
    same = study.with_(confidence=study.agreement.confidence)
    assert same == study


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"procedure": ["vqf"]}, "`procedure` is not a setting.*mean 'procedures'.*Known: .*drift"),
        (
            {"acceptable_deg": -1},
            r"\[agreement\] `acceptable_deg` should be greater than 0, got -1",
        ),
        ({"acceptable_deg": "5"}, "should be a number, got '5'"),
        ({"cycles": {"methode": "x"}}, "`methode` is not a known key. Did you mean 'method'"),
        ({"cycles": {"method": "events"}}, "no file of events"),
        ({"cycles": "events"}, "takes a mapping"),
        ({"against": "moon"}, "no trial has; accepted: 'indoor' or 'outdoor'"),
        ({"wearable": {"kind": "angle"}}, "says what the files hold"),
        ({"confidence": 2, "drift": 3}, "(?s)`confidence`.*`drift`|`drift`.*`confidence`"),
    ],
)
def test_what_a_file_may_not_say_is_refused(study, changes, message):
    with pytest.raises(StudyError, match=message):
        study.with_(**changes)


def test_a_study_without_a_reference_says_so(study):
    with pytest.raises(StudyError, match=r"no section \[reference\]"):
        replace(study, reference=None).with_(reference={"sign": -1})


def test_every_flat_key_has_one_section_and_none_is_forgotten():
    homes: dict[str, set[str]] = {}
    models = [(name, model) for name, model in PLAIN_SECTIONS.items() if name in VARIED]
    models += [(name, each) for name, kinds in BY_KIND.items() for each in kinds.values()]
    for name, model in models:
        for key in model.model_fields:
            homes.setdefault(key, set()).add(name)
    flat = set(Changes.__annotations__) - {*VARIED, *SEVERAL.values()}
    assert {key for key in flat if len(homes[key]) != 1} == set()
    of_statistics = set(PLAIN_SECTIONS["agreement"].model_fields)
    assert of_statistics <= flat


class TestAngles:
    time = np.arange(0, 30, 0.01)

    def knee(self):
        return 30 - 30 * np.cos(2 * np.pi * self.time / 1.1)

    def test_a_run_from_arrays_finds_what_was_put_in(self):
        from twinangle import run_study

        shift = (1.0, 2.0, 3.0, 2.0)
        noise = np.random.default_rng(1)
        trials = [
            AngleTrial(
                f"P{k}", self.time, {"a": self.knee() + add + noise.normal(0, 0.2, self.time.size)},
                reference_deg=self.knee(), covariates={"age_years": 30.0 + k},
            )
            for k, add in enumerate(shift)
        ]  # fmt: skip
        results = run_study(Study.from_angles(trials))
        assert [trial.status for trial in results.trials] == ["ok"] * 4
        limits = results.frames.limits.set_index("quantity").loc["mean_deg"]
        assert limits["bias_deg"] == pytest.approx(np.mean(shift), abs=0.02)
        assert results.trials[1].covariates == {"age_years": 31.0}
        assert [one.path for one in results.inputs][:2] == [
            "P0 all 1 1 wearable in memory", "P0 all 1 1 reference in memory",
        ]  # fmt: skip
        assert len({one.sha256 for one in results.inputs}) == 5  # the reference's are alike

    def test_cycles_are_cut_at_the_events_given(self):
        from twinangle import run_study

        begins = np.arange(
            0.3, self.time[-1], 1.1
        )  # of no peak: what was found instead would lie elsewhere
        trials = [
            AngleTrial(f"P{k}", self.time, self.knee() + 1, self.knee(), events_s=begins)
            for k in range(2)
        ]
        study = Study.from_angles(trials, acceptable_deg=5.0)
        assert study.cycles.method == "events"
        cycles = run_study(study).trials[0].cycles
        assert cycles.start_s == pytest.approx(begins[:-1], abs=1e-9)
        assert cycles.end_s == pytest.approx(begins[1:], abs=1e-9)
        instead = run_study(study.with_(cycles={"method": "angle-peak"}))
        assert abs(instead.trials[0].cycles.start_s[0] - begins[0]) > 0.2
        # They are part of what the results rest on.
        bare = Study.from_angles([replace(trials[0], events_s=None)])
        assert run_study(bare).inputs[0].sha256 != instead.inputs[0].sha256

    @pytest.mark.parametrize(
        ("events", "message"),
        [
            ([3.0], "`events_s` must be two times or more"),
            ([1.0, 2.0, 2.0], r"increase \(at number 3: 2 s\)"),
            ([1.0, np.nan], "two times or more and increase"),
            ("heel", "`events_s` must be numbers"),
            ([[1.0, 2.0]], "must have one dimension"),
        ],
    )
    def test_events_that_cannot_be_are_refused(self, events, message):
        with pytest.raises(StudyError, match=rf"P1 all .*{message}"):
            Study.from_angles([AngleTrial("P1", self.time, self.knee(), events_s=events)])

    def test_events_are_for_all_trials_or_none(self):
        one = AngleTrial("P1", self.time, self.knee(), events_s=[1.0, 2.0, 3.0])
        other = AngleTrial("P2", self.time, self.knee())
        with pytest.raises(
            StudyError, match="P2 all session 1 trial 1: has no `events_s`, but others"
        ):
            Study.from_angles([one, other])
        with pytest.raises(StudyError, match=r"'events', but P2 .* has no `events_s`"):
            Study.from_angles([other], cycles={"method": "events"})

    def test_a_reference_with_times_of_its_own_is_synchronised(self):
        trial = AngleTrial("P1", self.time, self.knee(), self.knee(), self.time + 3)
        assert Study.from_angles([trial]).synchronisation.method == "cross-correlation"
        stated = Study.from_angles([trial], synchronisation={"method": "manual", "lag_s": -3.0})
        assert stated.synchronisation.lag_s == -3.0

    @pytest.mark.parametrize(
        ("trials", "joint", "message"),
        [
            ([], "knee", "at least one trial"),
            ([AngleTrial("P1", [0, 1, 2], [1, 2])], "knee", "P1 .* 2 values for 3 times"),
            ([AngleTrial("P1", [0, 2, 1], [1, 2, 3])], "knee", r"increase \(at sample 2\)"),
            ([AngleTrial("P1", [0, 1], ["x", 2])], "knee", "must be numbers"),
            ([AngleTrial("P1", [0, 1], [1, 2])] * 2, "knee", "two trials are called P1"),
            ([AngleTrial("P1", [0, 1], [1, 2])], "nose", "`joint` must be"),
            ([AngleTrial("P1", [0, 1], [1, 2], standing_s=(2, 1))], "knee", "`standing_s`"),
            (
                [AngleTrial("P1", [0, 1], {"a": [1, 2]}), AngleTrial("P2", [0, 1], [1, 2])],
                "knee", "P2.*the same procedures",
            ),
        ],
    )  # fmt: skip
    def test_arrays_that_do_not_fit_are_refused(self, trials, joint, message):
        with pytest.raises(StudyError, match=message):
            Study.from_angles(trials, joint=joint)
