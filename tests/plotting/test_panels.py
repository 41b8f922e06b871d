"""One battery over every `plot_…` function that there is; a new one without a row here fails."""

import re
from dataclasses import dataclass, replace
from inspect import getdoc
from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.text import Text

from twinangle import plotting
from twinangle.cycles.daily_life import daily_life
from twinangle.cycles.day_strides import Strides
from twinangle.plotting.own_figure import OwnAxes
from twinangle.results import Pooled, TrialResult
from twinangle.results.read_back import read_results
from twinangle.results.serialise import to_text
from twinangle.results.tables import write_tables

PAGE = Path(__file__).resolve().parents[2] / "docs/reference/python.md"
BEFORE_RESULTS = {"plot_standing"}  # of files, before there are results; tested with what it draws
FOUND = [n for n in plotting.__all__ if n.startswith("plot_") and n not in BEFORE_RESULTS]
# Axes whose quantity has no unit, or whose ticks are names.
WITHOUT_UNIT = {"Correlation", "Cycles", "Normal quantile", "Ratio of SD", "Strides"}


@dataclass(frozen=True)
class Row:
    """What a function is given, which numbers must be seen, and what lacks its part."""

    give: object  # results -> what is drawn
    seen: object  # results -> arrays, each of which must be an artist's coordinates
    lack: object  # results -> what of the right kind cannot be drawn
    more: dict


def row(give, seen, lack, **more):
    return Row(give, seen, lack, more)


def first(results) -> TrialResult:
    return results.trials[0]


def failed(results) -> TrialResult:
    t = first(results)
    names = (t.participant, t.session, t.condition, t.trial, t.side, t.procedure)
    return TrialResult(*names, "failed", "the sensor fell off")


def without(topic):
    return lambda results: replace(results, **{topic: ()})


def absent(topic):
    """A row of the topic that says why it has no value."""

    def of(results):
        from twinangle.results import Absent

        return Pooled("vqf", "indoor", "", Absent("two participants are too few.", False))

    return of


def no_trials(results):
    return replace(results, trials=tuple(failed(results) for _ in range(2)), curves=())


def levels(limits):
    return [[level, level] for level in (limits.lower, limits.bias, limits.upper)]


def band_of(results):
    return results.along_cycle[0].value.limits


def part_widths(results):
    return [[getattr(b.value, p) for b in results.budget] for p in ("offset", "random")]


def sds(results):
    main = results.trials[0].procedure
    return [
        [t.wearable_variability.sd for t in results.trials
         if (t.participant, t.procedure) == (code, main)]
        for code in ("P01", "P02")
    ]  # fmt: skip


def means_of(found):
    codes = np.array(found.participant)
    return np.array([found.difference[codes == code].mean() for code in set(codes)])


def agreed(r):
    return first(r).agreement


def a_day():
    """Return four hours with bouts of 30, 40 and 20 strides; the first has a reference."""
    begins = ((0.1, 30), (2.2, 40), (3.5, 20))
    start = np.concatenate([h * 3600 + 1.2 * np.arange(n) for h, n in begins])
    size = 50 + 5 * np.sin(np.arange(start.size))
    end = start + 1.2 - 0.1 * (start > 3600)
    strides = Strides(start, end, size, size / 3, start < 3600, kept=start >= 0)
    return daily_life(strides, [(0.0, 4 * 3600.0)])


DAILY = a_day()
CADENCES = [one for one in DAILY.bins if one.by == "cadence"]


def long(results):
    return replace(first(results), daily=DAILY)


ROWS = {
    "plot_along_cycle": row(
        lambda r: r.along_cycle[0],
        lambda r: [band_of(r).bias, band_of(r).lower, band_of(r).upper], absent("along_cycle"),
    ),
    "plot_bouts": row(
        long, lambda r: [[bout.range_deg for bout in DAILY.bouts]], failed,
    ),
    "plot_budget": row(lambda r: r, part_widths, without("budget")),
    "plot_cadences": row(
        long,
        lambda r: [[b.n_strides for b in CADENCES], [b.n_with_reference for b in CADENCES]], failed,
    ),
    "plot_condition_differences": row(
        lambda r: r.conditions,
        lambda r: [[c.value.difference] for c in r.conditions if c.quantity == "wearable_sd_deg"],
        without("conditions"),
    ),
    "plot_condition_sds": row(lambda r: r, sds, no_trials),
    "plot_correlation": row(
        first,
        lambda r: [[first(r).synchronisation.peak_correlation]], failed,
    ),
    "plot_cycle_differences": row(
        lambda r: r.trials[:2],
        lambda r: [agreed(r).test_mean - agreed(r).reference_mean - agreed(r).offset], failed,
    ),
    "plot_cycle_durations": row(
        first, lambda r: [first(r).cycles.duration_s[first(r).cycles.kept]], failed,
    ),
    "plot_cycle_means": row(
        first, lambda r: [first(r).wearable_variability.mean_curve,
                          first(r).reference_variability.mean_curve], failed,
    ),
    "plot_cycle_sds": row(
        lambda r: r.trials[:2],
        lambda r: [t.wearable_variability.sd_curve for t in r.trials[:2]], failed,
    ),
    "plot_cycles": row(
        first, lambda r: [first(r).wearable_variability.mean_curve], failed,
    ),
    "plot_field": row(
        first, lambda r: [100 * first(r).sensors[0].norm_deviation], failed,
    ),
    "plot_histogram": row(
        lambda r: r.limits[0],
        lambda r: [np.histogram(r.limits[0].value.difference,
                                bins=max(5, round(r.limits[0].value.difference.size**0.5)))[0],
                   *levels(r.limits[0].value.limits)],
        absent("limits"),
    ),
    "plot_lags": row(
        first, lambda r: [first(r).synchronisation.window_time_s], failed,
    ),
    "plot_lags_off_line": row(
        first, lambda r: [first(r).synchronisation.window_time_s], failed,
    ),
    "plot_limits": row(
        lambda r: r.limits[0], lambda r: levels(r.limits[0].value.limits), absent("limits"),
        margin_deg=5.0,
    ),
    "plot_mean_curves": row(
        lambda r: r.curves[0],
        lambda r: [r.curves[0].value.test_mean, r.curves[0].value.reference_mean],
        absent("curves"),
    ),
    "plot_mean_difference": row(
        lambda r: r.along_cycle[0], lambda r: [band_of(r).bias_band.mean], absent("along_cycle"),
        margin_deg=5.0,
    ),
    "plot_offsets": row(
        lambda r: r, lambda r: [[agreed(r).offset], [r.curves[0].value.offset]], no_trials,
    ),
    "plot_quantiles": row(
        lambda r: r.limits[0],
        lambda r: [[means_of(r.limits[0].value).max()], [means_of(r.limits[0].value).min()]],
        absent("limits"),
    ),
    "plot_rank_differences": row(
        lambda r: r.ranking[0], lambda r: [[p.difference] for p in r.ranking[0].value.differences],
        absent("ranking"),
    ),
    "plot_ranks": row(
        lambda r: r.ranking[0], lambda r: [[p.mean] for p in r.ranking[0].value.standings],
        absent("ranking"),
    ),
    "plot_recording": row(
        first, lambda r: [[np.nanmax(first(r).paired.wearable_deg)]], failed,
    ),
    "plot_rms": row(lambda r: r, lambda r: [[agreed(r).rms_demeaned]], no_trials),
    "plot_sds": row(lambda r: r, lambda r: [[first(r).wearable_variability.sd]], no_trials),
    "plot_strides_by_hour": row(long, lambda r: [[30.0, 0.0, 40.0, 20.0]], failed),
    "plot_traces": row(
        first, lambda r: [first(r).paired.reference_deg[1000:1002]], failed, span_s=(10.0, 20.0),
    ),
}  # fmt: skip
OF_CONDITIONS = {"plot_condition_differences", "plot_condition_sds"}


@pytest.fixture(scope="module")
def of(study, larger):
    """What each function is tried on: several conditions, or enough people for a band."""
    larger = larger if band_of(larger) else None
    return lambda name: study if name in OF_CONDITIONS else larger


@pytest.fixture(autouse=True)
def _closed():
    yield
    plt.close("all")


def call(name, results, ax=None):
    entry = ROWS[name]
    return getattr(plotting, name)(entry.give(results), ax, **entry.more)


def coordinates(ax):
    """Every array that an artist of the axes is drawn at."""
    for line in ax.lines:
        yield np.asarray(line.get_xdata(), dtype=float)
        yield np.asarray(line.get_ydata(), dtype=float)
    for bars in ax.containers:
        patches = getattr(bars, "patches", ())
        yield np.array([patch.get_width() for patch in patches])
        yield np.array([patch.get_height() for patch in patches])
    for patch in ax.patches:
        if isinstance(patch, PathPatch):  # a histogram's bars, five corners each
            yield patch.get_path().vertices.reshape(-1, 5, 2)[:, :, 1].max(axis=1)


def holds(values, part):
    part = np.asarray(part, dtype=float)
    windows = values.size - part.size + 1
    return any(
        np.allclose(values[k : k + part.size], part, rtol=1e-9, atol=1e-12) for k in range(windows)
    )


def test_every_function_has_a_row():
    assert set(ROWS) == set(FOUND)
    assert len(FOUND) >= 25


@pytest.mark.parametrize("name", FOUND)
def test_it_draws_on_the_axes_given_and_on_nothing_else(name, of):
    figure, panels = plt.subplots(2, 2)
    with mpl.rc_context({"lines.linewidth": 7.5, "font.size": 13}):
        before = dict(mpl.rcParams)
        given = panels[0, 0]
        assert call(name, of(name), given) is given
        assert dict(mpl.rcParams) == before
    assert given.has_data()
    assert [*figure.legends, *figure.texts, *figure.images] == []
    assert figure.axes == list(panels.ravel())
    for other in panels.ravel()[1:]:
        assert not other.has_data()
        assert other.get_xlabel() == other.get_ylabel() == ""
        assert [*other.texts] == []
        assert other.get_legend() is None
        assert other.get_xlim() == other.get_ylim() == (0, 1)
    assert given.get_title(loc="left") == given.get_title() == ""  # a title is the user's


@pytest.mark.parametrize("name", FOUND)
def test_its_numbers_are_those_of_the_result(name, of):
    results = of(name)
    drawn = list(coordinates(call(name, results)))
    for part in ROWS[name].seen(results):
        assert any(holds(values, part) for values in drawn), part


@pytest.mark.parametrize("name", FOUND)
def test_its_labels_carry_units(name, of):
    ax = call(name, of(name))
    labels = {"x": ax.get_xlabel(), "y": ax.get_ylabel()}
    for axis, label in labels.items():
        ticks = [t.get_text() for t in getattr(ax, f"get_{axis}ticklabels")()]
        names = any(re.search(r"[a-zA-Z]{3}|P0", text) for text in ticks)
        assert re.search(r" \(.+\)$", label) or label in WITHOUT_UNIT or (names and not label), (
            axis, label, ticks,
        )  # fmt: skip


@pytest.mark.parametrize("name", FOUND)
def test_without_axes_it_makes_its_own_outside_any_window(name, of):
    before = plt.get_fignums()
    ax = call(name, of(name))
    assert plt.get_fignums() == before
    assert isinstance(ax, OwnAxes)
    assert ax.figure.axes == [ax]


def test_what_ends_a_cell_is_a_picture_in_the_reports_style_whatever_the_settings(larger):
    pictures = []
    for size in (5, 23):
        with mpl.rc_context({"font.size": size, "axes.facecolor": "red"}):
            ax = plotting.plot_limits(larger.limits[0])
            picture, how = ax._repr_png_()
            assert ax.figure._repr_png_()[1] == how
        assert picture.startswith(b"\x89PNG")  # the signature, ISO/IEC 15948
        assert 300 < how["width"] < 800
        pictures.append(picture)
    assert pictures[0] == pictures[1]


@pytest.mark.parametrize("name", FOUND)
def test_another_kind_or_a_missing_part_is_told(name, of):
    function, results = getattr(plotting, name), of(name)
    with pytest.raises(TypeError, match=r"Cannot draw str; .* accepted") as said:
        function("results")
    assert "results" in str(said.value)
    with pytest.raises(TypeError, match="expected one pair of Matplotlib axes, got ndarray"):
        call(name, results, np.array([None, None]))
    with pytest.raises(ValueError, match=r"nothing to draw|holds no") as said:
        function(ROWS[name].lack(results))
    lacking = ROWS[name].lack(results)
    if isinstance(lacking, Pooled):
        assert "two participants are too few" in str(said.value)
    if isinstance(lacking, TrialResult) and name != "plot_field":
        assert "the sensor fell off" in str(said.value)
        assert ".." not in str(said.value)
        assert "traces = true" not in str(said.value)


@pytest.fixture(scope="module")
def back(study, larger, tmp_path_factory):
    """Both studies, written and read again."""
    found = []
    for results in (study, larger):
        folder = tmp_path_factory.mktemp("back")
        (folder / "results.json").write_text(to_text(results), encoding="utf-8")
        (folder / "tables").mkdir()
        write_tables(results, folder / "tables")
        found.append(read_results(folder))
    return found


@pytest.mark.parametrize("name", FOUND)
def test_it_draws_what_was_read_back_from_a_folder(name, back):
    results = back[0 if name in OF_CONDITIONS else 1]
    assert call(name, results).has_data()


@pytest.mark.parametrize("name", FOUND)
def test_it_is_described_with_an_example_and_listed_on_the_page(name):
    said = getdoc(getattr(plotting, name))
    for section in ("Parameters", "Returns", "Raises", "Examples"):
        assert f"\n{section}\n{'-' * len(section)}\n" in said, section
    assert f"plotting.{name}(" in said
    assert f"`{name}`" in PAGE.read_text(encoding="utf-8")


def test_a_name_with_dollar_signs_is_a_name(study):
    code = r"$\frac$"
    trials = tuple(replace(t, participant=code) for t in study.trials if t.participant == "P01")
    figure = Figure()
    ax = plotting.plot_condition_sds(replace(study, trials=trials), figure.subplots())
    figure.draw_without_rendering()  # as a formula it could not be laid out
    assert code in {text.get_text() for text in ax.texts}


def test_the_style_lasts_as_long_as_its_context():
    before = dict(mpl.rcParams)
    with plotting.style():
        assert mpl.rcParams["font.size"] == 7
        ax = plt.figure().add_subplot()
        ax.set_xlabel("Time (s)")
    assert dict(mpl.rcParams) == before
    sizes = {text.get_fontsize() for text in ax.findobj(Text) if text.get_text() == "Time (s)"}
    assert sizes == {7}


def test_axes_of_a_figure_within_a_figure_are_taken(larger):
    left, _ = plt.figure().subfigures(1, 2)
    ax = left.subplots()
    assert isinstance(ax, Axes)
    assert plotting.plot_limits(larger.limits[0], ax) is ax


def test_words_that_are_not_known_are_answered_with_those_that_are(study):
    trial = study.trials[0]
    with pytest.raises(ValueError, match="`instrument`: 'left' is not one of wearable, reference"):
        plotting.plot_cycles(trial, instrument="left")
    with pytest.raises(ValueError, match="`condition`: 'stairs' is not one of indoor, outdoor"):
        plotting.plot_field(study, condition="stairs")
    with pytest.raises(ValueError, match=r"no samples from 900 to 910 s.* from 0\.00 to 59\.99 s"):
        plotting.plot_traces(trial, span_s=(900, 910))
    with pytest.raises(TypeError, match=r"LimitsOfAgreement alone.* StudyLimits are accepted"):
        plotting.plot_limits(study.limits[0].value.limits)
    with pytest.raises(ValueError, match="lack 'P01', who has points"):
        plotting.plot_limits(study.limits[0], participants=["P02"])
