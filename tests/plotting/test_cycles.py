import numpy as np
from numpy.testing import assert_allclose


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_cycles_show_all_kept_and_dropped(drawn, study):
    trial = study.trials[0]
    panels = axes_of(drawn, "indoor cycles")
    lines = {line.get_label(): line for line in panels[0].get_lines()}
    points = trial.cycles.wearable_deg.shape[1] + 1  # one more to lift the pen
    assert lines["kept"].get_xdata().size == trial.cycles.kept.sum() * points
    assert lines["left out"].get_xdata().size == (~trial.cycles.kept).sum() * points
    assert_allclose(lines["mean"].get_ydata(), trial.wearable_variability.mean_curve)
    assert f"{trial.cycles.kept.sum()} cycles kept" in drawn["indoor cycles"].caption


def test_demeaned_difference_has_the_reported_rms(drawn, study):
    worked = [t for t in study.trials[:2] if t.agreement is not None]
    lines = [line for line in axes_of(drawn, "indoor cycles")[3].get_lines() if
             not line.get_label().startswith("_")]  # fmt: skip
    assert [line.get_label() for line in lines] == [t.procedure for t in worked]
    for line, trial in zip(lines, worked, strict=True):
        rms = np.sqrt(np.mean(line.get_ydata() ** 2))
        assert_allclose(rms, trial.agreement.rms_demeaned, rtol=1e-9)
