"""Events, exclusions and messages on an invented walk with known truth."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from twinangle.cycles import find_cycles, recut
from twinangle.errors import CycleError, TooFewCyclesError
from twinangle.signals.recording import PairedAngles


def found(w, **changes):
    options = {"sagittal_rate_rad_s": w.sagittal, "vertical_rate_rad_s": w.vertical} | changes
    return find_cycles(w.paired, **options)


def test_contacts_are_found_within_the_published_delay(walk):
    w = walk(30)
    cycles = found(w)

    # Aminian et al. (2002), J Biomech 35:689: the trough lies about 10 ms from foot switches.
    nearest = np.abs(cycles.start_s[:, None] - w.contact_s).argmin(axis=1)
    error = cycles.start_s - w.contact_s[nearest]
    assert abs(error.mean()) <= 0.015
    assert error.std() <= 0.010


def test_standing_cycles_are_left_out_at_both_ends_only(walk):
    w = walk(20, standing_s=4.0)
    cycles = found(w)

    assert [text.split(":")[0] for text in (cycles.reason[0], cycles.reason[-1])] == [
        "start",
        "stop",
    ]
    assert cycles.kept[1:-1].all()
    assert cycles.wearable_deg.shape == (cycles.start_s.size, 101)


def test_a_recording_that_begins_in_mid_walk_loses_no_cycle(walk):
    w = walk(20, standing_s=0.0)

    assert found(w, method="angle-peak").kept.all()


@pytest.mark.parametrize("method", ["shank-gyroscope", "angle-peak"])
def test_turns_do_not_inflate_the_per_cycle_sd(walk, method):
    w = walk(60, turns_at=(12, 30, 48), knee_sd_deg=1.2)
    cycles = found(w, method=method)
    sd = cycles.wearable_deg[cycles.kept].std(axis=0, ddof=1).mean()
    left_in = cycles.wearable_deg[1:-1].std(axis=0, ddof=1).mean()

    middle = (cycles.start_s + cycles.end_s) / 2
    at = np.clip(np.searchsorted(w.contact_s, middle, side="right") - 1, 0, 59)
    assert not cycles.kept[w.turning[at]].any()
    assert abs(sd - w.true_sd) <= 0.15
    assert left_in > w.true_sd + 0.5


def test_turns_are_named_with_their_heading_change(walk):
    cycles = found(walk(40, turns_at=(12,)))

    assert sum(text.startswith("turn: heading changed by 60°") for text in cycles.reason) >= 2


def test_without_a_vertical_rate_a_warning_says_what_is_not_found(walk):
    cycles = found(walk(60, turns_at=(12,)), vertical_rate_rad_s=None)

    assert any("turns are found only where" in text for text in cycles.warnings)


def test_a_curve_outlier_names_the_instrument_and_the_numbers(walk):
    w = walk(40)
    reference = np.array(w.paired.wearable_deg)
    at = int(w.contact_s[20] * 100)
    reference[at : at + 60] += 15.0
    cycles = found(replace_reference(w, reference))

    odd = [text for text in cycles.reason if text.startswith("curve outlier")]
    assert len(odd) == 1
    assert "curve outlier: reference is 1" in odd[0]
    assert "limit" in odd[0]


def replace_reference(w, reference):
    return replace(
        w, paired=PairedAngles(w.paired.wearable_deg, reference, w.paired.start_s, w.paired.rate_hz)
    )


def test_a_stumble_is_left_out(walk):
    cycles = found(walk(40, odd={17: 0.5}))

    assert sum(text.startswith("curve outlier: wearable") for text in cycles.reason) == 1


def test_a_gap_in_either_instrument_drops_only_the_cycles_it_touches(walk):
    w = walk(30)
    reference = np.array(w.paired.wearable_deg)
    at = int((w.contact_s[10] + 0.4) * 100)
    reference[at : at + 7] = np.nan
    cycles = found(replace_reference(w, reference))

    gaps = [text for text in cycles.reason if text.startswith("gap")]
    assert len(gaps) == 1
    assert gaps[0].startswith("gap: 7 of 1")
    assert "the reference's angle" in gaps[0]
    assert np.isfinite(cycles.reference_deg[cycles.kept]).all()


def test_cycles_beyond_the_stretch_are_none_that_were_left_out(walk):
    w = walk(60, turns_at=(12, 40))
    whole = found(w)
    cycles = found(w, start_s=25.0, end_s=50.0)

    inside = (whole.start_s >= 25) & (whole.end_s <= 50)
    assert 5 < inside.sum() < len(whole.reason) - 10
    assert_allclose(cycles.start_s, whole.start_s[inside], atol=0.02)
    assert cycles.bout.min() == 1
    assert not any(text.startswith("outside") for text in cycles.reason)
    with pytest.raises(TooFewCyclesError, match=r"none of the .* lies within 25 to 26\.05 s"):
        found(w, start_s=25.0, end_s=26.05)


def test_what_is_said_by_hand_of_a_cycle_counts_in_the_row_that_holds_it(walk):
    w = walk(60)
    whole = found(w)
    first, last = (float(whole.start_s[k] + 0.3) for k in (8, -8))
    overrides = [(first, "exclude", "stumble"), (last, "exclude", "stumble")]
    middle = float(whole.start_s[30]) - 0.01

    early = found(w, end_s=middle, overrides=overrides)
    late = found(w, start_s=middle, overrides=overrides)
    also = found(w, start_s=middle, overrides=[(first, "include", "looked at")])

    for cycles in (early, late):
        assert [text for text in cycles.reason if text.startswith("by hand")] == [
            "by hand: stumble"
        ]
    assert len(early.reason) + 1 + len(late.reason) == len(whole.reason)  # one lies across
    assert len(also.reason) == len(late.reason) + 1
    assert any("in spite of outside" in text for text in also.warnings)


def test_given_events_cut_exactly_there(walk):
    w = walk(20)
    cycles = found(w, method="events", events_s=w.contact_s)

    assert cycles.kept.all()
    assert_allclose(cycles.start_s, w.contact_s[:-1])
    # The stance bump is 66 ms wide: cubic interpolation at 100 Hz leaves well under 0.1°.
    assert_allclose(cycles.wearable_deg[:, 2:98], w.curves[:, 2:98], atol=0.1)


def test_elbow_like_repetitions_are_cut_from_peak_to_peak():
    time = np.arange(0, 40, 0.02)
    elbow = 70 - 60 * np.cos(2 * np.pi * time / 4.0)
    cycles = find_cycles(PairedAngles(elbow, None, 0.0, 50.0), method="angle-peak")

    # Peaks of the cosine are at 2, 6, ... 38 s.
    assert_allclose(cycles.start_s, np.arange(2.0, 37.0, 4.0), atol=1e-3)
    assert cycles.kept.all()


def test_recut_keeps_events_and_reasons_and_changes_curves(walk):
    w = walk(30, turns_at=(12,))
    cycles = found(w)
    other = PairedAngles(w.paired.wearable_deg + 2.0, None, 0.0, 100.0)
    again = recut(cycles, other)

    assert again.reason == cycles.reason
    assert_allclose(again.wearable_deg, cycles.wearable_deg + 2.0, atol=1e-9)


def test_recut_drops_and_counts_cycles_with_a_new_gap(walk):
    w = walk(30)
    cycles = found(w)
    angle = np.array(w.paired.wearable_deg)
    angle[int(w.contact_s[9] * 100) + 50] = np.nan
    again = recut(cycles, PairedAngles(angle, None, 0.0, 100.0))

    assert again.kept.sum() == cycles.kept.sum() - 1
    assert "1 kept cycle(s) have a gap" in again.warnings[-1]


@pytest.mark.parametrize(("n", "said"), [(9, "mean curves need 10"), (30, "over cycles need 50")])
def test_few_cycles_are_said_beside_the_number(walk, n, said):
    # König et al. (2014), Gait Posture 39:615: 10 cycles for means, 50 for variability.
    assert any(said in text and "König" in text for text in found(walk(n)).warnings)


def test_fifty_cycles_draw_no_warning(walk):
    assert found(walk(56)).warnings == ()


def test_too_few_kept_cycles_list_every_reason(walk):
    with pytest.raises(CycleError, match=r"Only 2 of 4 cycles.*start: first.*stop: last"):
        found(walk(4, standing_s=4.0))


def test_a_constant_angle_is_refused():
    paired = PairedAngles(np.full(500, 5.0), None, 0.0, 100.0)
    with pytest.raises(CycleError, match="angle is constant at 5"):
        find_cycles(paired, method="angle-peak")


def test_standing_only_is_refused():
    rng = np.random.default_rng(3)
    paired = PairedAngles(rng.standard_normal(3000) * 0.3, None, 0.0, 100.0)
    with pytest.raises(CycleError, match=r"never swings by more than .* rad/s"):
        find_cycles(paired, sagittal_rate_rad_s=0.02 * rng.standard_normal(3000))


def test_the_gyroscope_method_without_a_gyroscope_names_the_others(walk):
    with pytest.raises(CycleError, match="'angle-peak' or 'events'"):
        find_cycles(walk(10).paired)


def test_events_out_of_order_are_refused_by_number(walk):
    with pytest.raises(CycleError, match="Event 3 at 5 s does not come after event 2 at 6 s"):
        find_cycles(walk(10).paired, method="events", events_s=[4.0, 6.0, 5.0])


def test_events_beyond_the_recording_are_refused(walk):
    with pytest.raises(CycleError, match=r"1 event\(s\) lie outside the recording"):
        find_cycles(walk(10).paired, method="events", events_s=[4.0, 6.0, 500.0])


def test_a_rate_on_another_clock_is_refused(walk):
    w = walk(10)
    with pytest.raises(ValueError, match="must share one clock"):
        find_cycles(w.paired, sagittal_rate_rad_s=w.sagittal[:-1])


def test_an_unknown_method_lists_the_known():
    paired = PairedAngles(np.zeros(500), None, 0.0, 100.0)
    with pytest.raises(ValueError, match="shank-gyroscope, angle-peak, events, got 'footswitch'"):
        find_cycles(paired, method="footswitch")


def test_an_inverted_angle_draws_a_warning(walk):
    w = walk(20)
    inverted = PairedAngles(-w.paired.wearable_deg, None, 0.0, 100.0)
    cycles = find_cycles(inverted, sagittal_rate_rad_s=w.sagittal)

    assert any("check the sign" in text for text in cycles.warnings)


def test_a_constant_reference_is_refused(walk):
    w = walk(10)
    with pytest.raises(CycleError, match="reference's angle is constant at 4"):
        found(replace_reference(w, np.full(w.sagittal.size, 4.0)))


def test_a_reference_without_any_sample_is_refused(walk):
    w = walk(10)
    with pytest.raises(CycleError, match="reference's angle is missing throughout"):
        found(replace_reference(w, np.full(w.sagittal.size, np.nan)))


def test_a_stretch_beyond_the_recording_names_the_recording(walk):
    with pytest.raises(
        CycleError, match=r"0.00 s of the recording \(0.00 to 19.*within 500 to 600"
    ):
        found(walk(10), start_s=500.0, end_s=600.0)


def test_a_stretch_that_ends_before_it_starts_is_refused(walk):
    with pytest.raises(ValueError, match="`start_s` must be before `end_s`, got 9 and 3"):
        found(walk(10), start_s=9.0, end_s=3.0)


def test_walking_in_circles_is_refused_and_explained(walk):
    w = walk(20)
    with pytest.raises(CycleError, match=r"turn 20.*the path is curved, or the rate about"):
        found(replace(w, vertical=w.vertical + np.radians(25.0)))


def test_a_pause_between_given_events_is_named(walk):
    w = walk(20)
    events = np.delete(w.contact_s, [8, 9, 10])
    cycles = found(w, method="events", events_s=events)

    assert cycles.reason[7].startswith("pause: 4.")
    assert cycles.kept.sum() == 16
