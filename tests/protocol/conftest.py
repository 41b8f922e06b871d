"""Invented studies that nobody has recorded yet: a study file, and a trials table or none."""

import pytest

HEAD = (
    "[study]\ntitle = 'Invented plan'\njoint = '{joint}'\ntrials = 'trials.csv'\ninvented = true\n"
)
SENSORS = """
[wearable]
kind = "inertial"
rate_hz = 100.0
{more}
[wearable.proximal]
accelerometer = ["ax1", "ay1", "az1"]
gyroscope = ["gx1", "gy1", "gz1"]
magnetometer = ["mx1", "my1", "mz1"]
[wearable.distal]
accelerometer = ["ax2", "ay2", "az2"]
gyroscope = ["gx2", "gy2", "gz2"]
magnetometer = ["mx2", "my2", "mz2"]
[wearable.units]
accelerometer = "g"
gyroscope = "deg/s"
magnetometer = "uT"
"""
QUATERNIONS = """
[wearable]
kind = "orientation"
time = "t"
[wearable.files]
proximal = "{wearable}_arm.csv"
distal = "{wearable}_forearm.csv"
[wearable.proximal]
quaternion = ["w", "x", "y", "z"]
[wearable.distal]
quaternion = ["w", "x", "y", "z"]
"""
DEVICE = "\n[wearable]\nkind = 'angle'\ntime = 't'\nangle = 'flex'\n"
GONIOMETER = "\n[reference]\nkind = 'angle'\ntime = 't'\nangle = 'gon'\n"
MARKERS = """
[reference]
kind = "markers"
method = "sagittal"
time = "t"
[reference.proximal]
upper = "SHO"
lower = "ELB"
[reference.distal]
upper = "ELB2"
lower = "WRI"
"""


@pytest.fixture
def planned(tmp_path):
    """Return a function that writes a study and returns its folder."""

    def write(*parts, joint="knee", trials=None):
        folder = tmp_path / "study"
        folder.mkdir(exist_ok=True)
        (folder / "study.toml").write_text(HEAD.format(joint=joint) + "".join(parts))
        if trials is not None:
            (folder / "trials.csv").write_text(trials)
        return folder

    return write


def table(people=("P01", "P02"), sessions="12", conditions=("indoor", "outdoor")):
    """Return a trials table of recordings that do not exist, a reference indoors."""
    lines = ["participant,session,condition,side,wearable,reference,speed_m_s,shoes"]
    for person in people:
        for session in sessions:
            for condition in conditions:
                stem = f"{person}_s{session}_{condition}.csv"
                reference = f"gon/{stem}" if condition == "indoor" else ""
                lines.append(f"{person},{session},{condition},left,imu/{stem},{reference},,")
    return "\n".join([*lines, ""])
