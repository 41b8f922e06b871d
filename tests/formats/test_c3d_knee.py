"""An open C3D trial through the marker reference: plausible knees, and every gap accounted for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy.signal import find_peaks

from twinangle.formats import read_recording
from twinangle.reference.goniometer import reference_angle
from twinangle.reference.odd_readings import reference_notes
from twinangle.signals.timing import regularise
from twinangle.study.reference_settings import MarkerReference

DATA = Path(__file__).resolve().parents[2] / "reference_data/walking_markers"


def settings_of(side: str, method: str) -> MarkerReference:
    """Name the markers of thigh and shank; the file has each knee and ankle label twice, of which
    the first lies on the outer side (its y is further from the midline)."""
    outer, inner = (f"{side}_knee#1", f"{side}_ankle#1"), (f"{side}_knee#2", f"{side}_ankle#2")
    if method == "sagittal":
        return MarkerReference.model_validate(
            {
                "kind": "markers", "method": method, "plane": ("x", "z"),
                "sign": -1,  # walks towards smaller x
                "proximal": {"upper": f"{side}_thigh", "lower": outer[0]},
                "distal": {"upper": outer[0], "lower": outer[1]},
            }
        )  # fmt: skip
    return MarkerReference.model_validate(
        {
            "kind": "markers", "method": method,
            "calibration_start_s": 1.33, "calibration_end_s": 3.26,
            "proximal": {
                "markers": (f"{side}_thigh", outer[0], inner[0]),
                "lateral": outer[0], "medial": inner[0], "upper": f"{side}_thigh",
            },
            "distal": {
                "markers": (f"{side}_shank", outer[1], inner[1]),
                "lateral": outer[1], "medial": inner[1], "upper": f"{side}_shank",
            },
        }
    )  # fmt: skip


@pytest.mark.parametrize("method", ["sagittal", "joint-coordinate-system"])
@pytest.mark.parametrize("side", ["right", "left"])
def test_the_open_trial_gives_plausible_knees_where_its_markers_are_seen(side, method):
    chosen = settings_of(side, method)
    recording = read_recording(DATA / "walking_with_gaps_100hz.c3d", columns=chosen.columns)
    uniform, timing = regularise(recording)
    limb = {"joint": "knee", "side": side}

    angle = reference_angle(uniform, chosen, **limb)
    notes = (*recording.notes, *reference_notes(uniform, chosen, **limb))

    # Every frame is either a sample, a counted gap before the walk, or left out at the end.
    seen = np.isfinite(angle.angle_deg)
    assert_array_equal(np.flatnonzero(seen), np.arange(133, 327))
    assert len(angle.angle_deg) + 160 == 487
    assert any("160 empty row(s) at the end left out" in note for note in notes)
    assert any("133 of 327 frames left as gaps" in note for note in notes)
    assert (timing.rate_hz, angle.start_s) == (100.0, 0.0)
    # Normal walking (from memory): a range of 60 to 70 degrees, a stride of about a second, a
    # small wave in stance. The thigh's marker is off the line from hip to knee: the zero is not
    # neutral standing, so that the range is checked.
    curve = angle.angle_deg[seen]
    assert 55 < np.ptp(curve) < 75
    swing, _ = find_peaks(curve, prominence=40)
    stance, _ = find_peaks(curve, prominence=(5, 30))
    assert 1 <= swing.size <= 2
    assert stance.size >= 1
    if swing.size == 2:
        assert 0.85 < np.diff(swing)[0] / 100 < 1.2
