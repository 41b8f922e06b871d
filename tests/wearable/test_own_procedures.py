"""A researcher's own procedure: found by name, held to the form, its faults reported."""

import re
import sys
import types
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest

from twinangle.errors import AngleError
from twinangle.signals.recording import AngleRecording, Interval, JointMotion, OrientationPair
from twinangle.wearable import own_procedure
from twinangle.wearable.orientation import vqf_offline
from twinangle.wearable.procedures import WearableTrial, estimate_motion, require_procedure


def worked_example():
    """Return the function that docs/background/wearable.md gives as its complete example."""
    text = (Path(__file__).resolve().parents[2] / "docs/background/wearable.md").read_text("utf-8")
    names = {}
    exec(re.search(r"```python\n(.*?)```", text, re.DOTALL).group(1), names)
    return names["gyroscopes_only"]


def as_motion(trial):
    distal = trial.walk.distal
    angle = AngleRecording(np.ones(distal.n_samples), distal.start_s, distal.rate_hz, "own")
    rate = np.zeros(distal.n_samples)
    return JointMotion(angle, sagittal_rate_rad_s=rate, vertical_rate_rad_s=rate)


def wrong_length(trial):
    return np.zeros(7)


def wrong_type(trial):
    return "seven"


def all_missing(trial):
    return np.full(trial.walk.distal.n_samples, np.nan)


def broken(trial):
    raise KeyError("thigh")


def refusing(trial):
    raise AngleError("this knee is beyond me.")


@pytest.fixture(autouse=True)
def importable(monkeypatch):
    module = types.ModuleType("invented_procedures")
    for function in (
        worked_example(),
        as_motion,
        wrong_length,
        wrong_type,
        all_missing,
        broken,
        refusing,
    ):
        setattr(module, function.__name__, function)
    module.constant = 3
    monkeypatch.setitem(sys.modules, "invented_procedures", module)


@pytest.fixture
def trial(invented):
    return WearableTrial(invented.pair, Interval(0.5, 3.5), Interval(4.0, 12.0))


def test_an_array_of_degrees_is_enough_and_rates_are_supplied(trial, invented):
    motion = estimate_motion(trial, "invented_procedures:gyroscopes_only")
    assert np.corrcoef(motion.angle.angle_deg, invented.truth_deg)[0, 1] > 0.9
    ours = estimate_motion(trial, "vqf")
    same = np.abs(np.corrcoef(motion.sagittal_rate_rad_s, ours.sagittal_rate_rad_s)[0, 1])
    assert same > 0.98
    np.testing.assert_allclose(
        motion.vertical_rate_rad_s[2000:], ours.vertical_rate_rad_s[2000:], atol=0.1
    )


def test_orientations_are_given_rates_too(trial, invented):
    pair = OrientationPair(vqf_offline(invented.pair.proximal), vqf_offline(invented.pair.distal))
    quaternions = WearableTrial(pair, trial.static, trial.functional)
    module = sys.modules["invented_procedures"]
    module.flat = lambda one: np.zeros(one.walk.distal.quaternion.shape[0])
    motion = estimate_motion(quaternions, "invented_procedures:flat")
    ours = estimate_motion(trial, "vqf")
    same = np.corrcoef(motion.sagittal_rate_rad_s, ours.sagittal_rate_rad_s)[0, 1]
    assert abs(same) > 0.97


def test_a_whole_motion_is_left_as_it_is(trial):
    motion = estimate_motion(trial, "invented_procedures:as_motion")
    assert not motion.sagittal_rate_rad_s.any()


def test_entry_points_are_found_and_named(trial, monkeypatch):
    point = EntryPoint("mine", "invented_procedures:as_motion", own_procedure.ENTRY_POINT_GROUP)
    monkeypatch.setattr(own_procedure, "entry_points", lambda group: [point])
    assert own_procedure.registered_procedures() == ("mine",)
    assert estimate_motion(trial, "mine").angle.source == "own"
    with pytest.raises(AngleError, match="'mine', or module:function, got 'yours'"):
        require_procedure("yours")


@pytest.mark.parametrize(
    ("name", "message"),
    [
        (
            "broken",
            r"in test_own_procedures\.py, line \d+ \(`raise KeyError\(.thigh.\)`\): KeyError",
        ),
        ("refusing", "beyond me"),
        ("wrong_length", r"shape \(7,\).*expected one value a sample.*\(6000,\)"),
        ("wrong_type", "returned a str; expected"),
        ("all_missing", "no finite angle"),
        ("absent", "holds no function 'absent'"),
        ("constant", "holds no function 'constant'"),
    ],
)
def test_a_faulty_procedure_is_reported_with_its_message(trial, name, message):
    with pytest.raises(AngleError, match=message):
        estimate_motion(trial, f"invented_procedures:{name}")


def test_a_module_that_is_not_there_is_named():
    with pytest.raises(AngleError, match=r"'no_such_module_here' cannot be imported.*PYTHONPATH"):
        require_procedure("no_such_module_here:angle")
    require_procedure("kalman")


def test_the_template_to_copy_yields_an_angle(trial, invented, monkeypatch):
    path = Path(__file__).resolve().parents[2] / "docs/examples/own_procedure.py"
    names = {"__name__": "own_procedure"}
    exec(compile(path.read_text("utf-8"), "own_procedure.py", "exec"), names)
    monkeypatch.setattr(sys.modules["invented_procedures"], "flexion", names["flexion"], False)
    motion = estimate_motion(trial, "invented_procedures:flexion")
    assert np.corrcoef(motion.angle.angle_deg, invented.truth_deg)[0, 1] > 0.8


def test_a_fault_deep_in_a_library_names_the_users_own_line(trial, tmp_path, monkeypatch):
    text = (
        "import numpy as np\n\n\ndef singular(trial):\n    return np.linalg.inv(np.ones((2, 2)))\n"
    )
    (tmp_path / "deep_fault.py").write_text(text)
    (tmp_path / "no_module.py").write_text("x = 1\ny = x / 0\n")
    monkeypatch.syspath_prepend(tmp_path)
    own = r"failed in deep_fault\.py, line 5 \(`return np\.linalg\.inv.*LinAlgError: Singular"
    with pytest.raises(AngleError, match=own) as caught:
        estimate_motion(trial, "deep_fault:singular")
    assert str(tmp_path) not in str(caught.value)
    with pytest.raises(AngleError, match=r"imported in no_module\.py, line 2 \(`y = x / 0`\)"):
        require_procedure("no_module:f")
