"""The magnetic field gathered by condition and by time, against sums worked out beside them."""

from dataclasses import replace

import numpy as np
import pytest

from twinangle.options import Options
from twinangle.results import SensorRecord, StudyResults, TrialResult
from twinangle.results.sensors_found import FieldFound
from twinangle.results.tables.magnetic_field import fields_by_condition, fields_by_time
from twinangle.wearable.quality.device import DeviceQuality

OPTIONS = Options(
    confidence=0.95,
    margin_deg=5.0,
    error_ratio=None,
    published_interval=False,
    reference_sd_deg=None,
    against=None,
    seed=20,
)


NAN = float("nan")
DEVICE = DeviceQuality("invented", *[NAN] * 11)
FIELD = FieldFound("invented", *[NAN] * 8, n_samples=100)


def record(segment, share, norm_off, rho=NAN):
    field = replace(
        FIELD,
        disturbed_share=share,
        norm_deviation_rms=norm_off,
        dip_deviation_rms_deg=100 * norm_off,
        error_correlation=rho,
    )
    time = 3.0 + np.arange(25.0)
    return SensorRecord(segment, DEVICE, field, time, 0.01 * time, (time >= 13).astype(float))


def trial(participant, condition, *sensors):
    return TrialResult(participant, "1", condition, "1", "", "kalman", "ok", sensors=tuple(sensors))


@pytest.fixture
def results():
    trials = (
        trial("P1", "indoor", record("proximal", 0.1, 0.03, 0.2), record("distal", 0.3, 0.04)),
        trial("P2", "indoor", record("proximal", 0.5, 0.04, 0.6)),
        trial("P1", "outdoor", record("proximal", 0.0, 0.01)),
    )
    return StudyResults("invented", "knee", OPTIONS, trials, (), (), "0", (), {})


def test_shares_are_means_and_deviations_root_mean_squares(results):
    near, far, outside = fields_by_condition(results)
    assert (near["condition"], near["segment"], near["n_recordings"]) == ("indoor", "proximal", 2)
    assert near["disturbed_share"] == pytest.approx(0.3)
    assert (near["disturbed_share_min"], near["disturbed_share_max"]) == (0.1, 0.5)
    assert near["norm_deviation_rms"] == pytest.approx(np.sqrt((0.03**2 + 0.04**2) / 2))
    assert near["dip_deviation_rms_deg"] == pytest.approx(100 * near["norm_deviation_rms"])
    assert near["error_correlation"] == pytest.approx(0.4)
    assert near["n_with_reference"] == 2
    assert (far["segment"], far["error_correlation"], far["n_with_reference"]) == (
        "distal",
        None,
        0,
    )
    assert outside["condition"] == "outdoor"


def test_time_goes_in_steps_of_ten_seconds(results):
    rows = [row for one, row in fields_by_time(results) if one.condition == "outdoor"]
    assert [row["start_s"] for row in rows] == [3.0, 13.0, 23.0]
    assert [row["disturbed_share"] for row in rows] == [0.0, 1.0, 1.0]
    assert rows[0]["norm_deviation"] == pytest.approx(0.075)  # mean of 0.03 … 0.12
    assert rows[2]["norm_deviation"] == pytest.approx(0.25)  # mean of 0.23 … 0.27


def test_recordings_without_a_field_tell_nothing(results):
    bare = SensorRecord("proximal", DEVICE, None, np.zeros(0), np.zeros(0), np.zeros(0))
    nothing = replace(results, trials=(trial("P1", "indoor", bare),))
    assert fields_by_condition(nothing) == []
    assert list(fields_by_time(nothing)) == []
