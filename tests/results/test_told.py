from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from numpy.testing import assert_allclose

from twinangle.clocks import drift_interval, line_se_s
from twinangle.notices import Notice
from twinangle.options import Options
from twinangle.results.clock_found import clock_found
from twinangle.results.told import warnings_told
from twinangle.signals.recording import Synchronisation


def trial(participant, procedure, *warnings):
    return SimpleNamespace(
        participant=participant, session="", condition="indoor", trial="", side="",
        procedure=procedure, status="ok", warnings=warnings, synchronisation=None, cycles=None,
    )  # fmt: skip


def test_like_warnings_are_one_line_and_the_gravest_come_first():
    results = SimpleNamespace(
        trials=(
            trial("P01", "a", "45 cycles kept."),
            trial("P01", "b", "45 cycles kept."),
            trial("P02", "a", "12 cycles kept.", Notice("drift of 80 ppm", "drift", "grave")),
            trial("P02", "b", Notice("clock read as UTC", "zone", "note")),
            trial("P03", "a", Notice("far too fast", "drift", "grave")),
        )
    )
    grave, cycles, note = warnings_told(results)
    assert (grave.gravity, grave.places) == ("grave", ("P02 indoor (a)", "P03 indoor (a)"))
    assert grave.varies
    assert cycles.text == "45 cycles kept."
    assert cycles.places == ("P01 indoor", "P02 indoor (a)")
    assert note.gravity == "note"
    assert not note.varies


def test_what_follows_from_a_clock_is_what_the_clock_says():
    options = Options(0.9, None, None, False, None, None, 1)
    window = np.arange(5.0, 60.0, 6.0)
    clock = Synchronisation(
        method="cross-correlation", lag_s=1.0, lag_se_s=1e-3, drift_ppm=40.0, drift_se_ppm=2.0,
        lag_statistical_s=1e-4, centre_s=32.0, window_time_s=window, window_lag_s=window * 0,
    )  # fmt: skip
    found = clock_found(clock, options)
    known = drift_interval(clock, confidence=0.9)
    assert found.drift_ci == (known.start_s, known.end_s)
    assert (found.line_time[0], found.line_time[-1]) == (2.0, 62.0)
    assert_allclose(found.line_se, line_se_s(clock, found.line_time))
    bare = clock_found(replace(clock, window_time_s=np.empty(0)), options)
    assert bare.line_time.size == bare.line_se.size == 0
