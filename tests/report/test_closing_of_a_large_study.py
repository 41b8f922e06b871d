"""What the run of many people, days and devices closes with on a terminal."""

import io
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

import twinangle.closing
from twinangle.notices import Notice
from twinangle.results.notices import grouped_notices
from twinangle.under_test import procedure_of, under_test
from twinangle.wording import between, number

NAMES = {
    (device, reference): lambda name, d=device, r=reference: under_test(d, name, r)
    for device in ("strapA", "strapB")
    for reference in ("goniometer", "optical")
}
TOPICS = ("limits", "curves", "variability")
FEW = Notice("few.", "few-cycles")
GRAVE = Notice("exchanged.", "axes", "grave")


def several(study, sessions):
    """The study as two devices against two references had it, on as many days."""
    trials = [
        replace(trial, procedure=name(trial.procedure), session=str(day))
        for trial in study.trials
        for day in range(1, sessions + 1)
        for name in NAMES.values()
    ]
    topics = {
        topic: tuple(
            replace(one, procedure=name(one.procedure))
            for name in NAMES.values()
            for one in getattr(study, topic)
        )
        for topic in TOPICS
    }
    return replace(study, trials=tuple(trials), **topics)


def printed(monkeypatch, results, width, **how):
    out = io.StringIO()
    terminal = Console(
        file=out, width=width, force_terminal=True, color_system=None, markup=False, highlight=False
    )
    monkeypatch.setattr(twinangle.closing, "Console", lambda **_: terminal)
    twinangle.closing.print_closing(results, Path("results"), **how)
    return [line.rstrip() for line in out.getvalue().splitlines()]


@pytest.fixture(scope="module")
def results(study):
    """Of two people on two days: 64 rows of 8 recordings; outdoors there is no reference."""
    found = several(study, 2)
    first = found.trials[0]
    own = {"strapA": (GRAVE,), "strapB": ()}
    trials = tuple(
        replace(
            trial,
            warnings=(FEW, *(own[trial.wearable] if trial.label == first.label else ())),
            synchronisation=None if trial.agreement is None else trial.synchronisation,
        )
        for trial in found.trials
    )
    return replace(found, trials=trials)


@pytest.mark.parametrize("width", [80, 120])
def test_a_row_is_a_device_reference_and_condition(monkeypatch, results, width):
    assert len(results.trials) == 64
    lines = printed(monkeypatch, results, width)
    table = lines[: next(k for k, line in enumerate(lines) if line.startswith("Offset and RMS"))]
    rows = [line.split() for line in table if "/" in line]
    assert len(rows) == 2 * 2 * 3
    assert len(table) <= 24
    assert max(map(len, lines)) <= width
    limits, curves, spread = (getattr(results, topic)[0].value for topic in TOPICS)
    both = " to ".join(number(end) for end in (limits.limits.lower, limits.limits.upper))
    assert " ".join(rows[0]) == (
        f"indoor, goniometer 2/4 {number(curves.offset)} {number(curves.rms_demeaned)} {both} "
        f"{number(spread.test_sd)} {number(spread.reference_sd)}"
    )
    assert rows[2][:5] == ["outdoor", "2/4", "–", "–", "–"]
    alone = [
        trial.wearable_variability.sd
        for trial in results.trials
        if trial.condition == "outdoor" and procedure_of(trial.procedure) == "kalman"
    ]
    assert rows[2][-2] == between((min(alone), max(alone))).replace(" to ", "–")


def test_then_what_is_grave_and_where_the_rest_is(monkeypatch, results):
    told = " ".join(printed(monkeypatch, results, 120)).split("The answer")[0]
    assert "Look at this first: P01 indoor, session 1 (strapA): exchanged." in told
    assert "few." not in told
    assert "(1 further kind) are in the report" in told
    assert "All 64 rows, one a recording" in told
    assert "tables/trials.csv; `--every-row` prints them." in told


def test_all_rows_on_request_and_of_a_small_study(monkeypatch, results, study):
    for one, how in ((results, {"every_row": True}), (study, {})):
        lines = printed(monkeypatch, one, 200, **how)
        assert sum(line.count(" 11/14 ") for line in lines) == len(one.trials)
        assert any("few." in line for line in lines) == (one is results)


def test_what_failed_is_told_up_to_a_dozen(monkeypatch, results):
    trials = [
        replace(trial, status="failed", reason=f"cable {k} broke.", cycles=None, agreement=None)
        if trial.condition == "indoor"
        else trial
        for k, trial in enumerate(results.trials)
    ]
    lines = printed(monkeypatch, replace(results, trials=tuple(trials)), 120)
    assert sum(line.startswith("Failed: ") for line in lines) == 12
    assert any(line.startswith("20 further lines of what failed") for line in lines)
    rows = [line.split() for line in lines if "indoor, optical" in line and "/" in line]
    assert {row[2] for row in rows if len(row) > 6} == {"0/0"}


def test_a_warning_names_the_device_that_it_is_of(results):
    rows = {row.kind: row for row in grouped_notices(results)}
    assert rows["axes"].trials == ("P01 indoor, session 1 (strapA)",)
    assert "P01 indoor, session 1" in rows["few-cycles"].trials
