"""What tells two results apart is found wherever it stands, and nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

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
    turned = replace(results, trials=results.trials[::-1])
    fewer = replace(results, trials=results.trials[1:])

    assert changes(results, turned) == ()
    lost = changes(results, fewer)
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
