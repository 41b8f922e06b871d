"""What a reference lacks takes no stride from daily life, and the words say what rests on what."""

from __future__ import annotations

from dataclasses import astuple, replace

import numpy as np
import pandas as pd
import pytest
from invented_day import BOUTS, REFERENCE, write_day

from twinangle import read_study
from twinangle.analysis import analyse_trial, pool_study
from twinangle.notices import gravity_of, kind_of
from twinangle.report.daily_life import _of_recording
from twinangle.report.exclusions import exclusions_section
from twinangle.results import TrialResult
from twinangle.results.answer_words import rests_on
from twinangle.results.grouping import cycles_left_out, warnings_of
from twinangle.signals.recording import MaskedStretch
from twinangle.study import Study


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return read_study(write_day(tmp_path_factory.mktemp("lacks")))


@pytest.fixture(scope="module")
def found(study: Study) -> dict[str, TrialResult]:
    return {trial.condition: analyse_trial(study, trial)[0] for trial in study.trials}


@pytest.fixture(scope="module")
def whole(study: Study) -> TrialResult:
    """The recording read at once, without a reference."""
    return analyse_trial(study.with_(stretch_min=None), study.trials[0])[0]


@pytest.mark.parametrize("name", [name for name in REFERENCE if name != "none"])
def test_a_missing_reference_takes_no_stride(found, name):
    alone, beside = found["none"].daily, found[name].daily
    assert alone is not None
    assert beside is not None, found[name].reason
    assert len(alone.bouts) == len(BOUTS)
    # a later end of the reference makes the first stretch longer: times differ by their rounding
    for one, other in zip((*beside.bouts, *beside.days), (*alone.bouts, *alone.days), strict=True):
        assert astuple(one) == pytest.approx(astuple(other), rel=1e-9)
    assert (beside.n_strides, beside.n_left_out) == (alone.n_strides, alone.n_left_out)
    assert beside.unread == ()


def test_no_stride_is_lost_or_doubled_at_the_end_of_a_stretch(found, whole):
    daily = found["at first"].daily
    assert daily is not None
    assert whole.cycles is not None
    assert daily.n_stretches == 2
    assert daily.n_strides == whole.cycles.kept.sum()
    assert daily.n_left_out == (~whole.cycles.kept).sum()
    over = [bout for bout in daily.bouts if bout.start_s < 300.0 < bout.end_s]
    assert [bout.n_strides for bout in over] == [BOUTS[4][1] - 3]  # peaks bound, first, last out


def test_bouts_are_those_in_which_the_cycles_are_numbered(found, whole):
    """One word, one meaning, over the border of two stretches too."""
    cycles, bouts = whole.cycles, found["none"].daily.bouts
    numbered = [cycles.bout == number for number in range(1, cycles.bout.max() + 1)]
    assert len(bouts) == len(numbered)
    for bout, rows in zip(bouts, numbered, strict=True):
        ends = cycles.start_s[rows][0], cycles.end_s[rows][-1]
        assert (bout.start_s, bout.end_s) == pytest.approx(ends, abs=1e-6)
        assert bout.n_strides == cycles.kept[rows].sum()
        assert bout.n_left_out == (~cycles.kept[rows]).sum() > 0


@pytest.mark.parametrize("name", ["at first", "late", "with a gap"])
def test_the_agreement_rests_on_the_cycles_that_have_a_reference(found, name):
    result = found[name]
    assert result.cycles is not None
    assert result.daily is not None
    assert result.daily.beyond is not None
    assert result.daily.beyond.n_with == result.cycles.kept.sum()
    low, high = REFERENCE[name]
    kept = result.cycles.kept
    assert result.cycles.start_s[kept].min() >= low
    assert result.cycles.end_s[kept].max() <= high


def test_where_nobody_walked_with_the_reference_the_day_stands(found):
    result = found["where nobody walks"]
    assert result.status == "failed"
    assert result.daily is not None
    assert result.daily.n_strides == found["none"].daily.n_strides


def test_a_mask_over_the_end_of_a_stretch_holds_in_both(study, found):
    mask = (MaskedStretch(160.0, 470.0, "slipped strap"),)
    (result,) = analyse_trial(study, replace(study.trials[0], mask=mask))
    assert result.daily is not None
    assert [bout.start_s for bout in result.daily.bouts] == pytest.approx(
        [b.start_s for b in found["none"].daily.bouts if not 160.0 < b.start_s < 470.0]
    )


def test_events_that_are_given_cut_every_stretch(study, found, whole, tmp_path):
    """Those beyond a stretch were faults of it, and behind the first there were none at all."""
    starts = np.union1d(np.round(whole.cycles.start_s, 4), np.round(whole.cycles.end_s, 4))
    path = tmp_path / "events.csv"
    pd.DataFrame({"time_s": starts}).to_csv(path, index=False)
    cycles = study.cycles.model_copy(update={"method": "events"})
    read_whole = replace(study.with_(stretch_min=None), cycles=cycles)
    for given in (tuple(starts), path):
        trial = replace(study.trials[1], events=given)
        (at_once,) = analyse_trial(read_whole, replace(trial, reference=None))
        (result,) = analyse_trial(replace(study, cycles=cycles), trial)
        assert result.daily is not None, result.reason
        assert result.daily.unread == ()
        assert result.daily.n_strides == at_once.cycles.kept.sum()


def test_the_answer_says_which_part_it_rests_on_and_what_the_whole_holds(study, found):
    said = rests_on(pool_study(study, (found["at first"],)))
    daily, cycles = found["at first"].daily, found["at first"].cycles
    low, high = cycles.start_s[cycles.kept].min() / 60, cycles.end_s[cycles.kept].max() / 60
    part = f"part of the recording with a reference, from {low:.1f} to {high:.1f} min"
    assert part in said
    (day,) = daily.days
    walked = f"{len(BOUTS)} bouts of {day.walking_min:.0f} min and {daily.n_strides} strides"
    assert f"the whole recording holds 0.2 h, {walked}" in said


def test_the_answer_says_it_where_nothing_was_compared_or_analysed(study, found):
    without = rests_on(pool_study(study, (found["none"],)))
    assert "part of the recording read first, from" in without
    failed = rests_on(pool_study(study, (found["where nobody walks"],)))
    assert f"The whole recording holds 0.2 h, {len(BOUTS)} bouts" in failed
    several = rests_on(pool_study(study, tuple(found.values())))
    assert f"{len(found)} whole recordings hold 0.8 h, {len(found) * len(BOUTS)} bouts" in several


def test_a_days_strides_are_told_of_nearly_whole_days_alone(study, found):
    result = found["at first"]
    (day,) = result.daily.days
    days = tuple(
        replace(day, day=k + 1, recorded_h=hours, n_strides=n)
        for k, (hours, n) in enumerate([(24.0, 9000), (20.0, 7000), (3.0, 100)])
    )
    week = replace(result, daily=replace(result.daily, days=days))
    said = rests_on(pool_study(study, (week,)))
    assert "(7000 to 9000 a day on 2 days with at least 20 h)" in said


def test_a_bout_counts_in_every_bin_of_cadence_it_has_strides_in(found):
    """A bout of two cadences: the report says why the bouts of the bins add up to more."""
    daily = found["none"].daily
    by_duration = [one for one in daily.bins if one.by == "bout duration"]
    by_cadence = [one for one in daily.bins if one.by == "cadence"]
    assert sum(one.n_bouts for one in by_duration) == len(daily.bouts)
    assert sum(one.n_bouts for one in by_cadence) > len(daily.bouts)
    assert sum(one.n_strides for one in by_cadence) == daily.n_strides
    caption = str(_of_recording(found["none"], daily))
    assert "every bout that has a stride in the bin, so that one may count in several" in caption


def test_a_recording_read_whole_says_how_many_cycles_have_no_reference(study, whole, found):
    """There they count nowhere, so that both instruments' SDs are of the same cycles."""
    trial = next(trial for trial in study.trials if trial.condition == "at first")
    (result,) = analyse_trial(study.with_(stretch_min=None), trial)
    (told,) = [text for text in result.warnings if kind_of(text) == "cycles-without-reference"]
    n = sum("of the reference's angle" in text for text in result.cycles.reason)
    assert n > 80
    assert told.startswith(f"{n} of {len(result.cycles.reason)} cycles found have no whole")
    assert "from 0.0 to 125.0 s" in told
    assert gravity_of(told) == "warning"
    results = pool_study(study.with_(stretch_min=None), (result,))
    assert cycles_left_out(results)["no reference"] == {"angle": n}
    assert str(n) in str(exclusions_section(results))
    assert not any(kind_of(text) == "cycles-without-reference" for text in whole.warnings)
    assert not any(
        kind_of(text) == "cycles-without-reference" for text in warnings_of(found["at first"])
    )
