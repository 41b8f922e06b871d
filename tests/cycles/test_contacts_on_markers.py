"""Initial contacts of real walking, against the forward-most heel and a force plate.

Data: optical markers of course walking trials, CC BY 4.0 (reference_data/README.md). The reference
events are those of Zeni et al. (2008), Gait Posture 27:710-714: contact is where the heel is
farthest in front of the sacrum. The markers are low-passed at a few hertz in the source, which
delays the trough of the shank's rate; Greene et al. (2012) found 33.9 ± 10.4 ms with sensors.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import find_peaks

from twinangle.cycles.events import initial_contacts

DATA = Path(__file__).resolve().parents[2] / "reference_data/walking_markers"
RATE_HZ = 150.0
# Each side with two swings or more; the right side of walk 2 has one.
SIDES = [("walk_1", "R"), ("walk_1", "L"), ("walk_2", "L")]


@pytest.fixture(scope="module", params=[1.0, -1.0], ids=["axis", "axis reversed"])
def lateness_s(request):
    """Contacts by the shank's rate minus contacts by the heel, over the three walks."""
    late = []
    for walk, side in SIDES:
        frame = pd.read_csv(DATA / f"{walk}_150hz.csv")
        contacts = shank_contacts(frame, side, request.param)
        heel = heel_contacts(frame, side)
        late += [contact - heel[np.abs(heel - contact).argmin()] for contact in contacts]
    return np.array(late)


def shank_contacts(frame, side, sign):
    top, bottom = (
        frame[[f"{side}_{name}_{axis}_mm" for axis in "xy"]].to_numpy() for name in ("HF", "Ankle")
    )
    forward, up = (top - bottom).T
    tilt = np.unwrap(np.arctan2(forward, up))
    thigh_free_angle = np.degrees(tilt)  # stands in for flexion, only to settle a doubtful sign
    return initial_contacts(sign * np.gradient(tilt) * RATE_HZ, thigh_free_angle, rate_hz=RATE_HZ)[
        0
    ]


def heel_contacts(frame, side):
    sacrum = (frame["R_PSIS_x_mm"] + frame["L_PSIS_x_mm"]) / 2
    return find_peaks((frame[f"{side}_Heel_x_mm"] - sacrum).to_numpy(), prominence=100)[0] / RATE_HZ


def test_every_contact_after_a_swing_is_found_once(lateness_s):
    assert lateness_s.size == 5


def test_contacts_lie_where_the_literature_puts_them(lateness_s):
    assert 0.0 <= lateness_s.mean() <= 0.034 + 0.010
    assert lateness_s.std(ddof=1) <= 0.0125
