"""Invented results of a run, built with the package's own statistics on seeded random curves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.multiple_correlation import coefficient_of_multiple_correlation
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.topics import pool_topics
from twinangle.clocks.pairing import TimingCost
from twinangle.cycles.summary import stride_summary
from twinangle.declare import declared
from twinangle.options import Options
from twinangle.report import write_report
from twinangle.results import InputFile, SensorRecord, StudyResults, TrialResult, Variability
from twinangle.results.angle_found import AngleFound
from twinangle.results.clock_found import clock_found
from twinangle.results.designs import MultipleCorrelations
from twinangle.results.sensors_found import FieldFound
from twinangle.signals.recording import CycleSet, PairedAngles, Synchronisation
from twinangle.wearable.quality.device import DeviceQuality

RATE_HZ = 100.0
PERCENT = np.linspace(0, 1, 101)
OPTIONS = Options(
    confidence=0.95,
    margin_deg=5.0,
    error_ratio=None,
    published_interval=False,
    reference_sd_deg=0.2,
    against=None,
    seed=7,
)
Build = Callable[..., StudyResults]


def knee(phase):
    """A stylised knee in walking, degrees over the phase of the cycle."""
    return (
        3
        + 14 * np.exp(-((phase % 1 - 0.14) ** 2) / (2 * 0.06**2))
        + 59 * np.exp(-((phase % 1 - 0.72) ** 2) / (2 * 0.09**2))
    )


def make_cycles(rng, n, offset, gain, *, reference, odd=3):
    """Cycles with cycle-to-cycle variation; the last few are left out."""
    shift, scale = rng.normal(0, 0.006, n), rng.normal(1, 0.02, n)
    true = scale[:, None] * knee(PERCENT + shift[:, None]) + rng.normal(0, 0.6, n)[:, None]
    wearable = offset + gain * true + rng.normal(0, 0.5, n)[:, None]
    seen = true + rng.normal(0, 0.3, n)[:, None]
    reasons = ["" for _ in range(n - odd)]
    reasons += ["turning: 41° about the vertical", "duration outlier: 1.62 s", "stopping"][:odd]
    wearable[n - odd :] *= 0.7
    start = 6.0 + np.cumsum(rng.normal(1.1, 0.02, n))
    return CycleSet(
        start_s=start,
        end_s=start + 1.1,
        reason=tuple(reasons),
        wearable_deg=wearable,
        reference_deg=seen if reference else None,
        method="shank-gyroscope",
        bout=np.zeros(n, dtype=np.int64),
    )


def make_paired(rng, duration_s, offset, gain, *, reference):
    time = np.arange(0, duration_s, 1 / RATE_HZ)
    true = knee(time / 1.1) * (1 + 0.02 * np.sin(time / 7))
    wearable = offset + gain * true + rng.normal(0, 0.2, time.size)
    wearable[300:340] = np.nan  # a gap
    return PairedAngles(wearable, true if reference else None, 0.0, RATE_HZ)


def make_clock(rng):
    lags = np.arange(-30, 30, 0.04)
    near = np.cos(2 * np.pi * (lags - 12.345) / 1.1) * np.exp(-(((lags - 12.345) / 25) ** 2))
    window = np.arange(5, 60, 6.0)
    return Synchronisation(
        method="cross-correlation",
        lag_s=12.345,
        lag_se_s=0.0005,
        drift_ppm=42.0,
        drift_se_ppm=2.0,
        lag_statistical_s=0.0001,
        lag_systematic_s=0.0004,
        centre_s=32.0,
        centre_lag_se_s=0.00041,
        peak_correlation=0.993,
        runner_up_correlation=0.941,
        evidence=250.0,
        candidate_lags_s=lags,
        candidate_correlation=0.95 * near,
        window_time_s=window,
        window_lag_s=12.345 + 42e-6 * window + rng.normal(0, 2e-4, window.size),
        window_lag_se_s=np.full(window.size, 2e-4),
    )


def said(kind, **known):
    """A record that says a few things and leaves the others open."""
    hints = {item.name: item.hint for item in declared(kind)}
    nothing = {name: float("nan") if hint is float else hint() for name, hint in hints.items()}
    return kind(**nothing | known)


def make_sensor(rng, segment):
    """One sensor's record: a disturbed field in the first seconds."""
    time = np.arange(60.0)
    deviation = 0.15 * np.exp(-time / 10) + rng.normal(0, 0.01, 60)
    return SensorRecord(
        segment=segment,
        device=said(DeviceQuality, source="x.csv", rate_hz=RATE_HZ, gyroscope_bias_deg_s=0.3),
        field=said(FieldFound, norm=48.0, dip_deg=66.0, disturbed_share=0.07),
        time_s=time,
        norm_deviation=deviation,
        disturbed_share=(np.abs(deviation) > 0.1).astype(float),
    )


def make_trial(rng, participant, condition, procedure, *, reference, offset, gain, n=40, minutes=1):
    cycles = make_cycles(rng, n, offset, gain, reference=reference)
    kept = cycles.kept
    wearable = cycles.wearable_deg[kept]
    seen = cycles.reference_deg[kept] if reference else None
    trial = TrialResult(
        participant=participant,
        session="1",
        condition=condition,
        trial="1",
        side="left",
        procedure=procedure,
        status="ok",
        warnings=("37 cycles: a standard deviation is reliable from about 50.",),
        synchronisation=make_clock(rng) if reference else None,
        paired=make_paired(rng, 60 * minutes, offset, gain, reference=reference),
        cycles=cycles,
        agreement=compare_curves(wearable, seen) if reference else None,
        variability=Variability(
            cycle_variability(wearable),
            cycle_variability(seen) if reference else None,
            compare_variability(wearable, seen) if reference else None,
        ),
        timing_cost=TimingCost(0.3, 0.31, 0.33, 0.03, 0.0004) if reference else None,
        budget=error_budget(wearable, seen) if reference else None,
        strides=stride_summary(cycles),
        sensors=(make_sensor(rng, "proximal"), make_sensor(rng, "distal")),
        angle_quality=said(AngleFound, axis_spread_deg=1.5),
        multiple_correlation=said(
            MultipleCorrelations,
            wearable_between_cycles=coefficient_of_multiple_correlation(wearable).value,
        ),
    )
    if trial.synchronisation is None:
        return trial
    return replace(trial, clock=clock_found(trial.synchronisation, OPTIONS))


def build(
    *,
    participants: Sequence[str] = ("P01", "P02", "P03", "P04", "P05", "P06"),
    procedures: Sequence[str] = ("kalman", "vqf"),
    conditions: Sequence[str] = ("indoor", "outdoor"),
    reference: Sequence[str] = ("indoor",),
    title: str = "An invented study",
    seed: int = 7,
    **of_trial,
) -> StudyResults:
    """Results of an invented study; `reference` names the conditions with a reference."""
    rng = np.random.default_rng(seed)
    trials = []
    for participant in participants:
        for condition in conditions:
            for k, procedure in enumerate(procedures):
                trials.append(
                    make_trial(
                        rng, participant, condition, procedure, reference=condition in reference,
                        offset=rng.normal(1.0 + k, 1.2), gain=1 + rng.normal(0, 0.02), **of_trial,
                    )
                )  # fmt: skip
    options = replace(OPTIONS, against=conditions[0], seed=seed)
    return StudyResults(
        title=title,
        joint="knee",
        options=options,
        trials=tuple(trials),
        **pool_topics(trials, options),
        version="0.1.0",
        inputs=tuple(
            InputFile(f"recordings/{code}_{condition}.csv", f"{k:064x}")
            for k, code in enumerate(participants)
            for condition in conditions
        ),
        parameters={
            "wearable": {"kind": "inertial", "gyroscope_sample": "instantaneous"},
            "reference": {"kind": "angle", "filter_hz": None},
            "synchronisation": {"method": "cross-correlation", "max_lag_s": 30.0, "drift": True},
            "cycles": {"method": "shank-gyroscope"},
            "agreement": {"confidence": 0.95, "acceptable_deg": 5.0},
            "report": {"figure_width_mm": [], "figure_formats": ["pdf", "svg"], "dpi": 300},
        },
    )


def fail(results: StudyResults, index: int, reason: str, status: str = "failed") -> StudyResults:
    """The same results with one trial failed or excluded."""
    trials = list(results.trials)
    old = trials[index]
    trials[index] = TrialResult(
        old.participant, old.session, old.condition, old.trial, old.side, old.procedure, status,
        reason,
    )  # fmt: skip
    return replace(results, trials=tuple(trials))


@pytest.fixture(scope="session")
def build_results() -> Build:
    return build


@pytest.fixture(scope="session")
def fail_trial() -> Callable[..., StudyResults]:
    return fail


@pytest.fixture(scope="session")
def study() -> StudyResults:
    """Two participants, two procedures, a reference indoors only."""
    return build(participants=("P01", "P02"), n=14)


@pytest.fixture(scope="session")
def larger() -> StudyResults:
    """Four participants, two procedures: enough for limits along the cycle."""
    return build(participants=("P01", "P02", "P03", "P04"), conditions=("indoor",), n=14)


@pytest.fixture(scope="session")
def over_days(larger) -> StudyResults:
    """The same in three sessions whose wearable reads a known number of degrees more or less.

    P04 has no third session.
    """
    rng = np.random.default_rng(3)
    more = dict(zip(("P01", "P02", "P03", "P04"), rng.normal(0, 1.5, (4, 3)), strict=True))
    trials = tuple(
        replace(
            trial,
            session=str(k + 1),
            cycles=replace(trial.cycles, wearable_deg=trial.cycles.wearable_deg + shift),
        )
        for trial in larger.trials
        for k, shift in enumerate(more[trial.participant])
        if (trial.participant, k) != ("P04", 2)
    )
    return replace(larger, trials=trials, **pool_topics(trials, larger.options))


@pytest.fixture(scope="session")
def written(study, tmp_path_factory):
    """The folder of a report written by one process."""
    folder = tmp_path_factory.mktemp("report")
    write_report(study, folder)
    return folder
