"""Cycles forced in and out by hand."""

import numpy as np
import pytest

from twinangle.cycles import find_cycles
from twinangle.errors import CycleError
from twinangle.signals.recording import PairedAngles


@pytest.fixture(scope="module")
def force(walk):
    w = walk(25, turns_at=(10,))

    def run(*overrides, paired=w.paired):
        return find_cycles(
            paired,
            sagittal_rate_rad_s=w.sagittal,
            vertical_rate_rad_s=w.vertical,
            overrides=overrides,
        )

    run.walk = w
    return run


def test_a_cycle_is_forced_out_by_index_with_the_reason_given(force):
    cycles = force((5, "exclude", "spoke to the assessor"))

    assert cycles.reason[5] == "by hand: spoke to the assessor"
    assert cycles.kept.sum() == force().kept.sum() - 1


def test_a_cycle_is_forced_out_by_a_time_within_it(force):
    at = float(force.walk.contact_s[7] + 0.5)
    cycles = force((at, "exclude", "cough"))

    index = cycles.reason.index("by hand: cough")
    assert cycles.start_s[index] <= at < cycles.end_s[index]


def test_a_turn_is_forced_in_and_a_warning_says_so(force):
    index = next(k for k, text in enumerate(force().reason) if text.startswith("turn"))
    cycles = force((index, "include", "looked straight to the eye"))

    assert cycles.kept[index]
    assert any(
        text.startswith(f"Cycle {index} (") and "in spite of turn" in text
        for text in cycles.warnings
    )


def test_a_cycle_with_a_gap_cannot_be_forced_in(force):
    angle = np.array(force.walk.paired.wearable_deg)
    angle[int(force.walk.contact_s[8] * 100) + 50] = np.nan
    at = float(force.walk.contact_s[8] + 0.6)
    with pytest.raises(CycleError, match=r"cannot be forced in: gap: 1 of 1\d\d samples"):
        force((at, "include", "looks fine"), paired=PairedAngles(angle, None, 0.0, 100.0))


def test_an_index_that_was_not_found_is_refused(force):
    with pytest.raises(CycleError, match="No cycle 99: 2"):
        force((99, "exclude", "x"))


def test_a_time_in_no_cycle_names_the_nearest(force):
    with pytest.raises(CycleError, match=r"No cycle was found at 0.5 s; the nearest is cycle 0"):
        force((0.5, "include", "x"))


def test_the_same_cycle_twice_is_refused(force):
    with pytest.raises(CycleError, match=r"Cycle 4 .* more than once"):
        force((4, "exclude", "x"), (4, "include", "y"))


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ((3, "drop", "x"), "'include' or 'exclude', got 'drop'"),
        ((3, "exclude", " "), "must give its reason"),
        ((3, "exclude"), "an override must be"),
        (("three", "exclude", "x"), "an override must be"),
        ((True, "exclude", "x"), "an override must be"),
    ],
)
def test_a_malformed_override_is_refused(force, entry, said):
    with pytest.raises(ValueError, match=said):
        force(entry)
