"""Winter (2009), Biomechanics and Motor Control of Human Movement, 4th ed., appendix A.

Table A.1 holds raw marker coordinates of one walking trial (`reference_data/`, CC BY 4.0); table
A.4 the knee angle made from them by way of filtered coordinates: thigh (hip to knee) minus shank
(fibula to ankle).

Kinds: second-hand.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from twinangle.formats import read_recording
from twinangle.reference.goniometer import reference_angle
from twinangle.signals.timing import regularise
from twinangle.study import MarkerReference

DATA = Path(__file__).resolve().parents[2] / "reference_data/winter_walking_markers.csv"


def test_the_range_of_the_knee_angle_follows_from_the_raw_markers(published):
    settings = MarkerReference.model_validate(
        {
            "kind": "markers", "method": "sagittal", "time": "time_s", "unit": "cm",
            "marker_columns": "{marker}_{axis}_cm", "filter_hz": 5.0,
            "proximal": {"upper": "hip", "lower": "knee"},
            "distal": {"upper": "fibula", "lower": "ankle"},
        }
    )  # fmt: skip
    recording = read_recording(DATA, columns=settings.columns, time=settings.time)
    uniform, report = regularise(recording)

    angle = reference_angle(uniform, settings).angle_deg

    assert report.n_missing == 0
    published("winter-2009", "rate").check(report.rate_hz, slack=0.05)  # nominal there
    # The appendix's cut-off differs by marker and is near 5 Hz: one tenth covers that.
    published("winter-2009", "largest knee angle").check(np.max(angle), slack=0.05)
    published("winter-2009", "smallest knee angle").check(np.min(angle), slack=0.05)
