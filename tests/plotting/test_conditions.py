from numpy.testing import assert_allclose


def axes_of(drawn, name):
    return drawn[name].figure.axes


def test_conditions_show_each_participant(drawn, study):
    panel = axes_of(drawn, "conditions")[0]
    lines = {line.get_label(): line for line in panel.get_lines()}
    for code in ("P01", "P02"):
        sds = [
            t.wearable_variability.sd
            for t in study.trials
            if t.participant == code and t.procedure == "kalman"
        ]
        assert_allclose(sorted(lines[code].get_ydata()), sorted(sds))
