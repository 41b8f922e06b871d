"""The invented study through the whole line, held against the truth written beside it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from twinangle.analysis import run_study
from twinangle.results import StudyResults, TrialResult, named
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

GAP_S = (40.0, 40.64)  # rows taken from the second participant's indoor file
TRIALS = [
    (person, condition, procedure)
    for person in ("P01", "P02")
    for condition in ("indoor", "outdoor")
    for procedure in ("kalman-two-sensors", "kalman-forward")
]
INDOOR = [key for key in TRIALS if key[1] == "indoor"]
# Indoors a hatch under the standing place turns one sensor's heading, which the second procedure
# trusts: its angle is meant to be off there.
BEYOND_THE_HATCH = [key for key in TRIALS if key[1:] != ("indoor", "kalman-forward")]
Curves = NDArray[np.float64]


@dataclass(frozen=True)
class Run:
    folder: Path
    results: StudyResults

    def trial(self, key: tuple[str, str, str]) -> TrialResult:
        (found,) = (
            t for t in self.results.trials if (t.participant, t.condition, t.procedure) == key
        )
        return found

    def truth(self, key: tuple[str, str, str]) -> dict[str, Any]:
        path = self.folder / f"truth/{key[0]}_{key[1]}.json"
        facts: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return facts


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    folder = tmp_path_factory.mktemp("truth") / "study"
    path = write_demo_study(folder, participants=2, walk_s=45.0)
    damaged = folder / "wearable/P02_indoor.csv"
    frame = pd.read_csv(damaged)
    frame[~frame["time_s"].between(*GAP_S)].to_csv(damaged, index=False)
    return Run(folder, run_study(read_study(path)))


def kept_times(trial: TrialResult) -> Curves:
    """Return the times (k, 101) of the curves' points of the cycles kept."""
    assert trial.cycles is not None
    start_s = trial.cycles.start_s[trial.cycles.kept]
    end_s = trial.cycles.end_s[trial.cycles.kept]
    return np.asarray(start_s[:, None] + np.linspace(0, 1, 101) * (end_s - start_s)[:, None])


def true_curves(run: Run, key: tuple[str, str, str], at_s: Curves) -> Curves:
    frame = pd.read_csv(run.folder / f"truth/{key[0]}_{key[1]}_knee.csv")
    return np.asarray(np.interp(at_s, frame["time_s"], frame["knee_deg"]))


@pytest.mark.parametrize("key", TRIALS)
def test_every_trial_is_analysed(run: Run, key: tuple[str, str, str]) -> None:
    trial = run.trial(key)
    assert (trial.status, trial.reason) == ("ok", "")


@pytest.mark.parametrize("key", INDOOR)
def test_the_clocks_are_found(run: Run, key: tuple[str, str, str]) -> None:
    found, truth = run.trial(key).synchronisation, run.truth(key)
    assert found is not None

    # 2 ms of lag cost 0.35° RMS on this curve; 20 ppm are 1 ms over a 50 s recording.
    assert found.lag_s == pytest.approx(truth["lag_s"], abs=0.002)
    assert found.drift_ppm == pytest.approx(truth["drift_ppm"], abs=20.0)


@pytest.mark.parametrize("key", TRIALS)
def test_no_cycle_of_a_turn_is_kept_and_few_straight_ones_are_lost(
    run: Run, key: tuple[str, str, str]
) -> None:
    trial, truth = run.trial(key), run.truth(key)
    at_s = kept_times(trial)
    assert truth["turns_s"]
    for start_s, end_s in truth["turns_s"]:
        # The first and last fifth of a turn change the heading by 10° each; curves hardly move.
        margin = 0.2 * (end_s - start_s)
        inside = (at_s[:, -1] > start_s + margin) & (at_s[:, 0] < end_s - margin)
        assert not inside.any()
    first_s, last_s = truth["walking_s"]
    assert at_s.min() > first_s - 1.2
    assert at_s.max() < last_s + 1.2
    assert len(at_s) >= 0.85 * truth["straight_cycles"]


@pytest.mark.parametrize("key", BEYOND_THE_HATCH)
def test_the_wearable_angle_is_the_true_one(run: Run, key: tuple[str, str, str]) -> None:
    trial = run.trial(key)
    assert trial.cycles is not None
    measured = trial.cycles.wearable_deg[trial.cycles.kept].mean(axis=0)
    difference = measured - true_curves(run, key, kept_times(trial)).mean(axis=0)

    # Skin turned by 0.4 to 1.2° in step with the stride, and a knee that is not quite a hinge.
    assert abs(difference.mean()) < 1.0
    assert difference.std() < 0.9


def test_a_heading_that_one_sensor_has_of_its_own_is_seen_in_the_angle(run: Run) -> None:
    for person in ("P01", "P02"):
        rms = []
        for procedure in ("kalman-two-sensors", "kalman-forward"):
            trial = run.trial((person, "indoor", procedure))
            assert trial.agreement is not None
            rms.append(trial.agreement.rms_demeaned)
        assert rms[1] > rms[0] + 0.5
        told = {
            trial.procedure
            for trial in run.results.trials
            if any("magnetic field's direction strays" in text for text in trial.warnings)
        }
        assert told == {"kalman-forward"}


@pytest.mark.parametrize("key", INDOOR)
def test_the_reference_curves_are_those_of_its_file(run: Run, key: tuple[str, str, str]) -> None:
    trial, truth = run.trial(key), run.truth(key)
    frame = pd.read_csv(run.folder / f"reference/{key[0]}_{key[1]}.csv")
    on_wearable_s = frame["time_s"] * (1 + truth["drift_ppm"] * 1e-6) + truth["lag_s"]
    expected = np.interp(kept_times(trial), on_wearable_s, frame["knee_deg"]).mean(axis=0)
    assert trial.cycles is not None
    assert trial.cycles.reference_deg is not None
    found = trial.cycles.reference_deg[trial.cycles.kept].mean(axis=0)

    assert_allclose(found - expected, 0.0, atol=0.75)  # 2 ms at 360°/s
    assert np.sqrt(np.mean((found - expected) ** 2)) < 0.35


@pytest.mark.parametrize("key", INDOOR)
def test_offset_and_demeaned_rms_follow_from_the_files(run: Run, key: tuple[str, str, str]) -> None:
    """Wearable minus reference is the wearable's error minus the reference's own."""
    trial, truth = run.trial(key), run.truth(key)
    assert trial.agreement is not None
    assert trial.cycles is not None
    at_s = kept_times(trial)
    frame = pd.read_csv(run.folder / f"reference/{key[0]}_{key[1]}.csv")
    on_wearable_s = frame["time_s"] * (1 + truth["drift_ppm"] * 1e-6) + truth["lag_s"]
    reference = np.interp(at_s, on_wearable_s, frame["knee_deg"]).mean(axis=0)
    difference = trial.cycles.wearable_deg[trial.cycles.kept].mean(axis=0) - reference

    assert trial.agreement.offset == pytest.approx(difference.mean(), abs=0.02)
    assert trial.agreement.rms_demeaned == pytest.approx(difference.std(), abs=0.2)


@pytest.mark.parametrize("key", BEYOND_THE_HATCH)
def test_the_spread_between_cycles_is_the_true_one(run: Run, key: tuple[str, str, str]) -> None:
    trial = run.trial(key)
    true_sd = true_curves(run, key, kept_times(trial)).std(axis=0, ddof=1).mean()
    assert trial.wearable_variability is not None

    # Against the same cycles' true curves, then against all straight cycles of the truth file:
    # with turns left in, the second would be off by 0.5° and more.
    assert trial.wearable_variability.sd == pytest.approx(true_sd, abs=0.15)
    assert trial.wearable_variability.sd == pytest.approx(run.truth(key)["cycle_sd_deg"], abs=0.25)
    if key[1] == "indoor":
        assert trial.reference_variability is not None
        assert trial.reference_variability.sd == pytest.approx(true_sd, abs=0.15)


def test_outdoors_there_is_spread_and_no_agreement(run: Run) -> None:
    procedure = "kalman-two-sensors"
    for person in ("P01", "P02"):
        trial = run.trial((person, "outdoor", procedure))
        assert trial.agreement is None
        assert trial.synchronisation is None
        assert trial.reference_variability is None
        indoors = run.trial((person, "indoor", procedure)).wearable_variability
        assert indoors is not None
        assert trial.wearable_variability is not None
        # The simulated walkers vary 1.25 times as much on the path.
        assert 1.0 < trial.wearable_variability.sd / indoors.sd < 1.7


def test_lost_rows_cost_the_cycles_they_fall_in_and_no_others(run: Run) -> None:
    cycles = run.trial(("P02", "indoor", "kalman-two-sensors")).cycles
    assert cycles is not None
    hit = (cycles.start_s < GAP_S[1]) & (cycles.end_s > GAP_S[0])

    assert not (cycles.kept & hit).any()
    assert not np.isnan(cycles.wearable_deg[cycles.kept]).any()


def test_conditions_are_compared_within_participants(run: Run) -> None:
    procedure = "kalman-two-sensors"
    (found,) = (
        difference
        for (name, _, quantity), difference in named(run.results.conditions)
        if (name, quantity, difference.condition) == (procedure, "wearable_sd_deg", "outdoor")
    )
    spread = {}
    for condition in ("indoor", "outdoor"):
        trials = [run.trial((person, condition, procedure)) for person in ("P01", "P02")]
        spread[condition] = np.array(
            [t.wearable_variability.sd for t in trials if t.wearable_variability is not None]
        )

    assert found.against == "indoor"
    assert found.n_participants == 2
    # 1.25 was simulated. The SD of ln s over n independent cycles is about 1/sqrt(2 (n - 1)) (the
    # delta method on chi squared); an interval of two participants is no check of it: their
    # ratios may agree by chance, and 1 in 20 such intervals misses.
    cycles = [t.cycles for t in run.results.trials if t.procedure == procedure]
    variances = [1 / (2 * (c.kept.sum() - 1)) for c in cycles if c is not None]
    assert len(variances) == 4
    allowed = 2.6 * np.sqrt(np.sum(variances)) / 2
    assert abs(np.log(found.ratio / 1.25)) < allowed
    indoor = np.mean(spread["indoor"])
    assert abs(found.difference - 0.25 * indoor) < 1.25 * indoor * allowed
    assert np.isnan(found.ratio_ci).all()  # two people: no interval over people
    assert "2 participants: no interval over people is given" in found.note


# ---- golden values, across machines by tolerance (made by this package; a change is to be meant)

GOLDEN = Path(__file__).with_name("golden_demo.csv")
TOLERANCE = {"_s": 1e-5, "_ppm": 0.05, "_deg": 2e-3, "cycles": 0.0}


def golden_values(results: StudyResults) -> dict[str, float]:
    """The main numbers of every trial and of the limits, by a name that ends in the unit."""
    found: dict[str, float] = {}
    for trial in results.trials:
        name = f"{trial.participant} {trial.condition} {trial.procedure}"
        clock, curves = trial.synchronisation, trial.agreement
        assert trial.cycles is not None
        assert trial.wearable_variability is not None
        found[f"{name} kept cycles"] = float(trial.cycles.kept.sum())
        found[f"{name} wearable_sd_deg"] = trial.wearable_variability.sd
        if clock is not None and curves is not None:
            found[f"{name} lag_s"] = clock.lag_s
            found[f"{name} drift_ppm"] = clock.drift_ppm
            found[f"{name} offset_deg"] = curves.offset
            found[f"{name} rms_demeaned_deg"] = curves.rms_demeaned
    for (procedure, condition, quantity), both in named(results.limits):
        for end in ("bias", "lower", "upper"):
            key = f"{condition} {procedure} {quantity.removesuffix('_deg')} {end}_deg"
            found[key] = getattr(both.limits, end)
    return found


def test_the_main_numbers_are_those_of_last_time(run: Run) -> None:
    golden = pd.read_csv(GOLDEN, index_col="name")["value"]
    found = golden_values(run.results)
    assert list(found) == list(golden.index)
    for name, value in found.items():
        allowed = next(one for end, one in TOLERANCE.items() if name.endswith(end))
        assert abs(value - golden[name]) <= allowed, name
