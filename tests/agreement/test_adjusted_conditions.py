import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import signal, stats
from statsmodels.formula.api import mixedlm, ols

from twinangle.agreement.conditions import compare_conditions
from twinangle.agreement.conditions_adjusted import compare_conditions_adjusted


def walks(seed: int, k: int = 12, effect: float = 0.0, slope: float = 0.5) -> pd.DataFrame:
    """Invented trials whose SD follows speed; outdoors is walked faster."""
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(k):
        level = 0.3 * rng.standard_normal()
        for condition in ("indoor", "outdoor"):
            for _ in range(3):
                speed = 1.2 + 0.2 * (condition == "outdoor") + 0.2 * rng.standard_normal()
                log = level + slope * speed + effect * (condition == "outdoor")
                rows.append((person, condition, np.exp(log + 0.1 * rng.standard_normal()), speed))
    return pd.DataFrame(rows, columns=["participant", "condition", "value", "speed_m_s"])


def adjusted(frame):
    (result,) = compare_conditions_adjusted(frame, against="indoor", covariates=["speed_m_s"])
    return result


def test_coefficients_agree_with_a_formula_fit_of_statsmodels():
    frame = walks(1, effect=0.2)
    cells = frame.assign(log=np.log(frame["value"])).groupby(["participant", "condition"])
    means = cells[["log", "speed_m_s"]].mean().reset_index()
    fit = mixedlm("log ~ condition + speed_m_s", means, groups="participant").fit(method="powell")
    result = adjusted(frame)
    assert_allclose(np.log(result.ratio), fit.params["condition[T.outdoor]"], atol=1e-4)
    half = stats.t.ppf(0.975, 10) * fit.bse["condition[T.outdoor]"]  # 24 means - 12 - 1 - 1
    assert_allclose(np.log(result.ratio_ci[1] / result.ratio), half, rtol=1e-3)


def test_one_trial_a_condition_is_the_regression_of_differences():
    """Equal mean speeds leave only differences: scipy's line of them, k - 2 degrees of freedom."""
    rng = np.random.default_rng(4)
    half_step = rng.uniform(0.05, 0.2, 7)
    level, noise = rng.standard_normal(7), 0.05 * rng.standard_normal((2, 7))
    logs = np.array([level - half_step, 0.3 + level + half_step]) + noise
    frame = pd.DataFrame(
        {
            "participant": np.tile(np.arange(7), 2),
            "condition": np.repeat(["indoor", "outdoor"], 7),
            "value": np.exp(logs).ravel(),
            "speed_m_s": 1.3 + np.concatenate([-half_step, half_step]),
        }
    )
    line = stats.linregress(2 * half_step, logs[1] - logs[0])
    result = adjusted(frame)
    assert_allclose(np.log(result.ratio), line.intercept, rtol=1e-4)
    half = stats.t.ppf(0.975, 5) * line.intercept_stderr
    assert_allclose(
        np.log(result.ratio_ci), [line.intercept - half, line.intercept + half], rtol=1e-3
    )


def test_the_other_leg_is_no_further_participant():
    frame = walks(6, k=6)
    once, twice = adjusted(frame), adjusted(pd.concat([frame] * 2))
    assert_allclose([twice.ratio, *twice.ratio_ci], [once.ratio, *once.ratio_ci], rtol=1e-6)
    as_others = frame.assign(participant=frame["participant"] + 100)
    more = adjusted(pd.concat([frame, as_others]))
    assert np.diff(np.log(more.ratio_ci)) < 0.8 * np.diff(np.log(once.ratio_ci))


def test_levels_that_do_not_differ_still_leave_an_interval():
    """The variance between participants at its boundary, where the fit has no Hessian."""
    frame = walks(5, k=4)
    frame["value"] /= np.exp(np.log(frame["value"]).groupby(frame["participant"]).transform("mean"))
    # Without a variance between participants the fit is least squares.
    cells = frame.assign(log=np.log(frame["value"])).groupby(["participant", "condition"])
    means = cells[["log", "speed_m_s"]].mean().reset_index()
    plain = ols("log ~ condition + speed_m_s", means).fit()
    result = adjusted(frame)
    assert_allclose(np.log(result.ratio), plain.params["condition[T.outdoor]"], atol=1e-6)
    half = np.log(result.ratio_ci[1] / result.ratio)
    assert_allclose(half, np.log(result.ratio / result.ratio_ci[0]))
    assert 0 < half <= stats.t.ppf(0.975, 2) * plain.bse["condition[T.outdoor]"] * (1 + 1e-6)


@pytest.mark.parametrize("effect", [0.0, 0.3])
def test_an_effect_of_speed_is_not_charged_to_the_place(effect):
    frame = walks(2, k=40, effect=effect, slope=1.0)
    result = adjusted(frame)
    assert result.ratio_ci[0] < np.exp(effect) < result.ratio_ci[1]
    (plain,) = compare_conditions(frame, against="indoor")
    assert plain.ratio > 1.1 * np.exp(effect)


def test_cycles_stand_for_the_values_freed_of_what_few_of_them_fall_short():
    """Equal SDs over 9 and 60 cycles of serial correlation 0.5: the values alone differ."""
    rng = np.random.default_rng(8)
    frame = walks(1, k=10).drop(columns="value")
    curves = []
    for condition in frame["condition"]:
        noise = rng.standard_normal((9 if condition == "indoor" else 60, 6))
        noise[1:] *= np.sqrt(0.75)
        curves.append(signal.lfilter([1.0], [1.0, -0.5], noise, axis=0))
    (freed,) = compare_conditions_adjusted(
        frame, against="indoor", covariates=["speed_m_s"], variability=curves
    )
    plain = adjusted(frame.assign(value=[each.std(axis=0, ddof=1).mean() for each in curves]))
    assert plain.ratio > 1.08
    assert abs(freed.ratio - 1) < 0.06
    assert any("serial correlation" in line for line in freed.assumptions)


@pytest.mark.parametrize(("seed", "scale"), [(1, 0.2), (2, 57.3), (3, 1000)])
def test_unit_of_value_and_covariate_do_not_matter(seed, scale):
    frame = walks(seed, k=5)
    other = frame.assign(value=scale * frame["value"], speed_m_s=3.6 * frame["speed_m_s"])
    assert_allclose(adjusted(other).ratio, adjusted(frame).ratio, rtol=1e-4)


def test_result_names_the_covariate_and_what_it_shares_with_the_condition():
    result = adjusted(walks(3))
    assert "equal speed_m_s" in result.summary()
    assert 0 < result.shared < 1
    assert result.to_frame()["n_participants"].item() == 12


@pytest.mark.parametrize(
    ("frame", "covariates", "message"),
    [
        (walks(1), ["pace"], "no column 'pace'"),
        (walks(1), [], "`covariates` is empty"),
        (walks(1).assign(speed_m_s=np.nan), ["speed_m_s"], "not a number"),
        (walks(1).assign(value=0.0), ["speed_m_s"], "ratios need above 0"),
        (walks(1, k=2), ["speed_m_s"], "at least 3 participants"),
        (
            walks(1).assign(speed_m_s=lambda f: (f["condition"] == "outdoor").astype(float)),
            ["speed_m_s"],
            "tell the condition exactly",
        ),
        (  # one number a participant: the model would repeat the plain ratio
            walks(1).assign(age=lambda f: 30.0 + f["participant"] ** 2),
            ["age"],
            "age does not vary within any participant",
        ),
        (walks(1).assign(speed_m_s=1.3), ["speed_m_s"], "does not vary within any participant"),
        (  # one number but for rounding, as a mean of equal durations has it
            walks(1).assign(speed_m_s=lambda f: 1.3 + 1e-16 * np.round(7 * f["value"])),
            ["speed_m_s"],
            "does not vary within any participant",
        ),
        (  # outdoors everyone walks 0.2 m/s faster than indoors, from a speed of their own
            walks(1).assign(
                speed_m_s=lambda f: f["participant"] / 9 + 0.2 * (f["condition"] == "outdoor")
            ),
            ["speed_m_s"],
            "tell the condition exactly within participants",
        ),
        (
            walks(3)[walks(3)["condition"] == "indoor"],
            ["speed_m_s"],
            "has the condition 'indoor' alone; a comparison needs another",
        ),
    ],
)
def test_bad_tables_are_named(frame, covariates, message):
    with pytest.raises(ValueError, match=message):
        compare_conditions_adjusted(frame, against="indoor", covariates=covariates)
