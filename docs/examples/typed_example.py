"""The Python interface as a typed script uses it: this file passes `mypy --strict`.

python typed_example.py STUDY OUT
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import assert_type

import numpy as np

import twinangle
from twinangle import Study, StudyResults, TrialResult
from twinangle.agreement import (
    CurveAgreement,
    LimitsOfAgreement,
    compare_curves,
    limits_of_agreement,
)


def analyse(path: str | Path) -> StudyResults:
    """Read a study, vary a setting, and run it."""
    study = twinangle.read_study(path)
    varied = study.with_(acceptable_deg=3.0, confidence=0.9)
    assert_type(varied, Study)
    return twinangle.run_study(varied)


def smallest_rms(results: StudyResults) -> TrialResult | None:
    """Return the trial whose mean curves are nearest each other."""
    compared = [trial for trial in results.trials if trial.agreement is not None]
    return min(
        compared,
        key=lambda trial: trial.agreement.rms_demeaned if trial.agreement else np.inf,
        default=None,
    )


def statistics_alone() -> tuple[LimitsOfAgreement, CurveAgreement]:
    """Call the statistics with arrays, without any study."""
    rng = np.random.default_rng(1)
    watch, cuff = rng.normal(120, 10, 30), rng.normal(121, 10, 30)
    curves = rng.normal(0, 1, (8, 101)).cumsum(axis=1)
    limits = limits_of_agreement(watch - cuff)
    assert_type(limits.bias_ci, tuple[float, float])
    return limits, compare_curves(curves + 1.0, curves)


def main(study: str, out: str) -> None:
    """Write everything and say where the instruments are nearest."""
    results = analyse(study)
    files = twinangle.write_outputs(results, Path(out))
    assert_type(files, tuple[Path, ...])
    nearest = smallest_rms(results)
    print(results)
    print(f"{len(files)} files; nearest: {nearest.label if nearest is not None else 'none'}")


if __name__ == "__main__":
    main(*sys.argv[1:3])
