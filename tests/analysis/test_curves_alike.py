"""A wrong sign or clock is named by the curves, whatever placed the reference on its clock."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from twinangle.agreement.curves import compare_curves
from twinangle.analysis import run_study
from twinangle.analysis.likeness import ALIKE, REVERSED, judge_likeness
from twinangle.errors import SynchronisationError
from twinangle.simulate import write_demo_study
from twinangle.study import read_study
from twinangle.study.settings import AgreementSettings

DATA = Path(__file__).resolve().parents[2] / "../shared/data"


@pytest.fixture(scope="module")
def pristine(tmp_path_factory):
    """One invented trial whose reference already lies on the wearable's clock, as angles."""
    folder: Path = tmp_path_factory.mktemp("alike") / "study"
    write_demo_study(folder, participants=1, conditions=("indoor",), walk_s=30.0)
    text = (
        (folder / "study.toml")
        .read_text()
        .replace('["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
    )
    (folder / "study.toml").write_text(text)
    (found,) = run_study(read_study(folder)).trials
    (reference,) = (folder / "reference").iterdir()
    frame = pd.read_csv(reference)
    time = frame.columns[0]
    lag = found.synchronisation.lag_s
    frame[time] = frame[time] * (1 + found.synchronisation.drift_ppm * 1e-6) + lag
    frame.to_csv(reference, index=False)
    return folder, lag


def run_with(pristine, tmp_path, method, *, sign=1, late_s=0.0):
    """Run with another synchronisation, the reference reversed or late."""
    folder = shutil.copytree(pristine[0], tmp_path / "study")
    text = (folder / "study.toml").read_text()
    head, _, tail = text.partition("[synchronisation]")
    rest = tail[tail.index("\n[") :]
    (folder / "study.toml").write_text(f"{head}[synchronisation]\n{method}\n{rest}")
    (reference,) = (folder / "reference").iterdir()
    frame = pd.read_csv(reference)
    frame[frame.columns[0]] += late_s
    frame[frame.columns[1]] *= sign
    frame.to_csv(reference, index=False)
    (trial,) = run_study(read_study(folder)).trials
    return trial


METHODS = ('method = "shared-clock"', 'method = "manual"\nlag_s = 0.0')


@pytest.mark.parametrize("method", METHODS)
def test_a_reference_of_the_wrong_sign_is_refused_with_the_remedy(pristine, tmp_path, method):
    trial = run_with(pristine, tmp_path, method, sign=-1)
    assert trial.status == "failed"
    assert "correlate at -1.00" in trial.reason
    assert "wrong sign: set `sign = -1` in [reference]" in trial.reason
    assert "-1 in the column `sign` of the trials table, in its row" in trial.reason


def of_curves_alike(text):
    return "mean curves" in text and "correlate" in text


@pytest.mark.parametrize("method", METHODS)
def test_the_right_sign_on_the_right_clock_passes_without_a_word(pristine, tmp_path, method):
    trial = run_with(pristine, tmp_path, method)
    assert trial.status == "ok"
    assert trial.agreement.correlation > 0.99
    assert not any(map(of_curves_alike, trial.warnings))


def test_a_clock_that_is_off_is_warned_of(pristine, tmp_path):
    trial = run_with(pristine, tmp_path, METHODS[0], late_s=0.06)
    assert trial.status == "ok"
    assert 0.75 < trial.agreement.correlation < ALIKE
    assert sum(map(of_curves_alike, trial.warnings)) == 1


def test_a_clock_that_is_far_off_is_refused_with_the_delay(pristine, tmp_path):
    trial = run_with(pristine, tmp_path, METHODS[0], late_s=0.2)
    assert trial.status == "failed"
    assert "(below 0.75). With the reference 0.2" in trial.reason.replace("0.19 ", "0.2")
    assert "earlier" in trial.reason
    assert "`least_correlation` in [agreement]" in trial.reason


def judge(wearable, reference, **settings):
    study = SimpleNamespace(
        agreement=AgreementSettings(**settings), reference=None, wearable=SimpleNamespace()
    )
    cycles = SimpleNamespace(duration_s=np.full(3, 1.1), kept=np.ones(3, dtype=bool))
    curves = compare_curves(np.stack([wearable] * 3), np.stack([reference] * 3))
    return judge_likeness(study, curves, cycles)


def test_another_joint_is_refused_and_another_person_is_not():
    """Knees and hips of 39 boys (Olshen et al. 1989, Ann Stat 17:1419)."""
    folder = DATA / "gait-39-boys"
    if not folder.is_dir():
        pytest.skip("../shared/data/gait-39-boys is absent")
    knees, hips = (
        pd.read_csv(folder / f"{joint}_angle.csv").to_numpy()[:, 1:].T for joint in ("knee", "hip")
    )
    every = np.corrcoef(knees, hips)
    n = len(knees)
    assert every[:n, :n].min() > 0.75 > every[:n, n:].max()
    late = [np.corrcoef(one, np.roll(one, 2))[0, 1] for one in knees]  # a tenth of the cycle
    assert max(late) < 0.75
    worst = np.unravel_index(np.argmin(every[:n, :n]), (n, n))
    assert len(judge(knees[worst[0]], knees[worst[1]])) == 1
    closest = np.unravel_index(np.argmax(every[:n, n:]), (n, n))
    with pytest.raises(SynchronisationError, match=r"only \(below 0\.75\)"):
        judge(knees[closest[0]], hips[closest[1]])
    assert len(judge(knees[closest[0]], hips[closest[1]], least_correlation=0.5)) == 1
    assert len(judge(0.3 * knees[closest[0]], 0.3 * hips[closest[1]])) == 1  # a small movement


def test_no_delay_reaches_the_limit_of_a_wrong_sign_on_boys_knees():
    """Knee curves of 39 boys (Olshen et al. 1989, Ann Stat 17:1419)."""
    file = DATA / "gait-39-boys/knee_angle.csv"
    if not file.is_file():
        pytest.skip("../shared/data/gait-39-boys is absent")
    curves = pd.read_csv(file).to_numpy()[:, 1:].T
    delayed = np.stack([np.roll(curves, k, axis=1) for k in range(curves.shape[1])])
    every = np.corrcoef(delayed.reshape(-1, curves.shape[1]))
    assert every.min() > REVERSED + 0.05
    reversed_sign = [np.corrcoef(one, -other)[0, 1] for one in curves for other in curves]
    assert np.quantile(reversed_sign, 0.95) < REVERSED
    assert compare_curves(curves[:3], curves[:3]).correlation > ALIKE
