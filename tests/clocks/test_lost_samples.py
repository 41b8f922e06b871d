"""Samples lost in a file with even times: the lag steps, and file, place and size are named."""

import re
from dataclasses import replace

import numpy as np
import pytest

from twinangle.clocks import lost_samples, manual, synchronise
from twinangle.clocks.search import prepare
from twinangle.clocks.steps import find_step
from twinangle.errors import SynchronisationError

LAG_S = 3.217


def lose(recording, at_s, size_s):
    """Drop samples and let the times run on evenly, as a logger does that says nothing."""
    first = round((at_s - recording.start_s) * recording.rate_hz)
    many = round(size_s * recording.rate_hz)
    return replace(recording, angle_deg=np.delete(recording.angle_deg, slice(first, first + many)))


@pytest.fixture(scope="module")
def pair(walking):
    drawn = walking.PairSettings(lag_s=LAG_S, overlap_s=60.0, extra_s=2.0, locked_deg=1.5)
    return walking.make_pair(np.random.default_rng(6), drawn)


@pytest.mark.parametrize(
    ("which", "size_s"),
    [("wearable", 0.05), ("reference", 0.1), ("wearable", 0.5)],
)
def test_file_place_and_size_are_named(pair, which, size_s):
    wearable, reference = pair
    at_s = 38.0 if which == "wearable" else 25.0
    if which == "wearable":
        wearable = lose(wearable, at_s, size_s)
    else:
        reference = lose(reference, at_s, size_s)

    with pytest.raises(SynchronisationError) as caught:
        synchronise(wearable, reference)

    text = str(caught.value)
    found = re.search(
        r"Either (\w+)\.csv lost ([\d.]+) s of samples at about ([\d.]+) s on its own "
        r"clock \(between ([\d.]+) and ([\d.]+) s\)",
        text,
    )
    assert found is not None, text
    assert found[1] == which
    assert float(found[2]) == pytest.approx(size_s, abs=0.011)
    assert float(found[3]) == pytest.approx(at_s, abs=1.0)
    # What would look the same is said as loudly, and neither file is to be changed for it.
    other = {"wearable": "reference", "reference": "wearable"}[which]
    assert f", or {other}.csv repeated {found[2]} s of samples, or had its clock set ahead" in text
    assert "These two files alone do not tell which" in text
    assert "Mend the file" not in text
    # The mend: rows of the trials table on the wearable's clock, either side of the place.
    ends = re.search(r"`end_s` = ([\d.]+), .*`start_s` = ([\d.]+)", text)
    assert ends is not None
    place = at_s if which == "wearable" else at_s + LAG_S
    assert place - 3 < float(ends[1]) < place < float(ends[2]) < place + 3


def test_the_mend_works(pair):
    wearable, reference = pair
    broken = lose(reference, 25.0, 0.2)
    with pytest.raises(SynchronisationError) as caught:
        synchronise(wearable, broken)
    end_s = float(re.search(r"`end_s` = ([\d.]+)", str(caught.value))[1])
    n = int(end_s * wearable.rate_hz)

    first = synchronise(replace(wearable, angle_deg=wearable.angle_deg[:n]), broken)

    assert first.lag_s == pytest.approx(LAG_S, abs=0.004)


def test_two_whole_files_have_no_step(walking):
    for seed in range(6):
        rng = np.random.default_rng(seed)
        drawn = replace(walking.draw_settings(rng, "steady"), drift_ppm=150.0)
        wearable, reference, _ = prepare(*walking.make_pair(rng, drawn))

        assert find_step(wearable, reference, drawn.lag_s, stride_s=1.1) is None


@pytest.mark.parametrize(("seed", "strides"), [(59, 7), (34, 9), (95, 9), (2, 10)])
def test_a_short_honest_pair_has_lost_nothing(walking, seed, strides):
    """Pairs in which a step far from their lag passed for lost samples: many lags were tried."""
    rng = np.random.default_rng([seed, 3])
    drawn = walking.draw_settings(rng, "steady")
    drift_ppm, lag_s = float(rng.uniform(-60, 60)), float(rng.uniform(-4, 4))
    drawn = replace(
        drawn,
        drift_ppm=drift_ppm,
        lag_s=lag_s,
        overlap_s=strides * drawn.stride_s + 0.3,
        extra_s=float(rng.uniform(0, 6)),
    )
    clock = synchronise(*walking.make_pair(rng, drawn), refuse=False)
    assert "lost" not in " ".join(clock.warnings)


def test_a_lag_outside_the_search_is_no_loss(pair):
    """The search reaches 1 s, the lag is 3.217 s: a stride off, the lag seems to step."""
    with pytest.raises(SynchronisationError, match="outside the search") as caught:
        synchronise(*pair, max_lag_s=1.0)
    assert "Write 3.2 into this recording's row" in str(caught.value)


def test_a_drift_is_no_step(walking):
    drawn = walking.PairSettings(drift_ppm=900.0, overlap_s=60.0)

    clock = synchronise(*walking.make_pair(np.random.default_rng(1), drawn))

    assert clock.drift_ppm == pytest.approx(900, abs=25)


def test_without_refusing_it_is_a_warning(pair):
    wearable, reference = pair

    clock = synchronise(wearable, lose(reference, 40.0, 0.1), refuse=False)

    assert "Either reference.csv lost 0.1" in clock.warnings[0]


def test_a_clock_given_by_hand_does_not_hide_it(pair):
    wearable, reference = pair

    assert lost_samples(wearable, reference, manual(LAG_S, 40.0)) == ""
    assert "Either reference.csv lost 0.1" in lost_samples(
        wearable, lose(reference, 40.0, 0.1), manual(LAG_S, 40.0)
    )
