"""What tells two results apart is found wherever it stands, and nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from twinangle.results import Absent
from twinangle.results.changes import ABSOLUTE, KINDS, RELATIVE, Change, changes
from twinangle.results.model import InputFile


def with_number(results, k, **numbers):
    """Return results in which one trial's curves agree otherwise."""
    trial = results.trials[k]
    trial = replace(trial, agreement=replace(trial.agreement, **numbers))
    return replace(results, trials=(*results.trials[:k], trial, *results.trials[k + 1 :]))


def test_results_are_like_themselves(results):
    assert changes(results, results) == ()


@pytest.mark.parametrize(
    ("change", "kind", "place"),
    [
        ({"version": "0.0.0"}, "version", "version"),
        ({"title": "Another"}, "setting", "study.title"),
        ({"parameters": {"cycles": {"method": "events"}}}, "setting", "cycles.method"),
        ({"inputs": (InputFile("more.csv", "0" * 64),)}, "input", "[more.csv] sha256"),
        ({"notes": ("A note.",)}, "wording", "notes"),
    ],
)
def test_each_kind_of_change_is_named_with_its_place(results, change, kind, place):
    found = changes(results, replace(results, **change))

    assert (kind, place) in {(one.kind, one.place) for one in found}
    assert {one.kind for one in found} == {kind}


def test_a_number_is_named_with_its_trial_and_both_values(results):
    before = results.trials[0].agreement.offset
    found = changes(results, with_number(results, 0, offset=before + 1.0))

    trial = results.trials[0]
    assert all(one.kind == "number" for one in found)
    named = next(one for one in found if one.place.endswith("agreement.offset_deg"))
    assert trial.participant in named.place
    assert trial.procedure in named.place
    assert (named.before, named.after) == (before, before + 1.0)


def test_only_what_is_beyond_rounding_counts(results):
    value = results.trials[0].agreement.rms_demeaned
    room = ABSOLUTE + RELATIVE * abs(value)

    def found(larger, **rules):
        return changes(results, with_number(results, 0, rms_demeaned=value + larger), **rules)

    assert found(0.9 * room) == ()
    assert found(1.1 * room)
    assert found(1e-15, relative=0, absolute=0)


def test_exchanging_the_results_exchanges_before_and_after(results):
    other = replace(with_number(results, 0, offset=9.0), version="0", notes=("One.", "One."))
    there, back = changes(results, other), changes(other, results)

    assert len(there) > 3
    swapped = {Change(one.kind, one.place, one.after, one.before) for one in back}
    assert set(there) == swapped


def test_trials_are_matched_by_name_and_not_by_place(results):
    last_first = sorted(results.trials, key=lambda trial: trial.label, reverse=True)
    turned = replace(results, trials=tuple(last_first))  # procedures of a recording in order
    fewer = replace(results, trials=results.trials[1:])

    assert changes(results, turned) == ()
    lost = [one for one in changes(results, fewer) if not one.place.startswith("answer.")]
    assert lost  # what the answer rests on is less by that recording, which is no loss of a number
    assert all(results.trials[0].procedure in one.place for one in lost)
    assert all(one.after is None for one in lost)


def test_curves_of_cycles_and_traces_are_held_together(results):
    trial = results.trials[0]
    curves = trial.cycles.wearable_deg.copy()
    curves[0, 50] += 0.5
    other = replace(trial, cycles=replace(trial.cycles, wearable_deg=curves))
    found = changes(results, replace(results, trials=(other, *results.trials[1:])))

    (named,) = [one for one in found if "curves of the cycles" in one.place]
    assert "1 of them differ, by up to 0.5°" in str(named.after)
    assert np.isfinite(curves).all()


def test_kinds_come_in_order(results):
    found = changes(results, replace(with_number(results, 0, offset=9.0), version="0", title="x"))

    order = [KINDS.index(one.kind) for one in found]
    assert order == sorted(order)


def at_confidence(results, level):
    """Return results of the same study at another confidence, its intervals left as they were."""
    agreement = {**results.parameters["agreement"], "confidence": level}
    curves = tuple(
        replace(one, value=replace(one.value, confidence=level)) for one in results.curves
    )
    limits = tuple(
        replace(
            one,
            value=replace(one.value, limits=replace(one.value.limits, confidence=level, bias=9.0)),
        )
        for one in results.limits
        if not isinstance(one.value, Absent)
    )
    return replace(
        results,
        options=replace(results.options, confidence=level),
        parameters={**results.parameters, "agreement": agreement},
        curves=curves,
        limits=limits,
    )


def test_a_setting_that_results_repeat_is_told_once(results):
    before, after = at_confidence(results, 0.95), at_confidence(results, 0.9)
    (only,) = changes(before, after)
    assert (only.kind, only.place) == ("setting", "agreement.confidence")
    assert (only.before, only.after) == (0.95, 0.9)
    assert only.repeated == len(before.curves) + len(before.limits)
    assert only.summary().endswith(f"0.95 → 0.9 (and so in {only.repeated} places of the results)")


def test_a_number_of_a_settings_name_and_other_values_stays_a_number(results):
    after = at_confidence(results, 0.9)
    odd = replace(after.curves[0], value=replace(after.curves[0].value, confidence=0.8))
    found = changes(at_confidence(results, 0.95), replace(after, curves=(odd, *after.curves[1:])))
    assert [one.kind for one in found] == ["setting", "number"]
    assert found[1].after == 0.8


def test_a_margin_is_told_under_the_name_that_the_study_gives_it(results):
    def at(margin):
        agreement = {**results.parameters["agreement"], "acceptable_deg": margin}
        options = replace(results.options, margin_deg=margin)
        return replace(results, options=options, parameters={"agreement": agreement})

    (only,) = changes(at(5.0), at(7.0))
    assert only.summary() == "agreement.acceptable_deg: 5 → 7"


def test_limits_are_named_by_what_they_are_of_and_not_by_whose_every_cycle_is(results):
    before, after = at_confidence(results, 0.95), at_confidence(results, 0.95)
    first = after.limits[0]
    other = replace(first, value=replace(first.value, limits=replace(first.value.limits, bias=8.0)))
    found = changes(before, replace(after, limits=(other, *after.limits[1:])))
    (named,) = [one for one in found if one.place.endswith(" bias_deg")]
    name = " ".join(filter(None, (first.condition, first.procedure, first.quantity)))
    assert named.place == f"limits_of_agreement [{name}] bias_deg"
