"""A message that rounds a number and names the limit it crossed must not contradict itself."""

import ast
import inspect
import re
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

import twinangle
from twinangle.cycles.exclude import outlying_curves, outlying_durations, turns
from twinangle.wearable.flexion import MOVED_DEG, NeutralStanding
from twinangle.wearable.quality.device import DeviceQuality

ROOT = Path(twinangle.__file__).parent


def rounded(part):
    spec = ast.unparse(part.format_spec) if part.format_spec is not None else ""
    return bool(re.search(r"\.\d+[fg%]", spec))


def is_constant(part, module):
    """Whether what is printed is a constant, and not one of words."""
    names = [node.id for node in ast.walk(part.value) if isinstance(node, ast.Name)]
    limits = (re.fullmatch(r"_?[A-Z][A-Z0-9_]+", name) for name in names)
    words = any(isinstance(getattr(module, name, None), str) for name in names)
    return bool(names) and all(limits) and not words


def messages_with_a_bare_limit():
    for path in sorted(ROOT.rglob("*.py")):
        where = path.relative_to(ROOT).as_posix()
        if where.startswith(("report", "closing", "simulate", "agreement/", "sketch")):
            continue
        name = ".".join(["twinangle", *path.relative_to(ROOT).with_suffix("").parts])
        module = None if path.name == "__main__.py" else import_module(name)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.JoinedStr):
                continue
            parts = [part for part in node.values if isinstance(part, ast.FormattedValue)]
            constant = [is_constant(part, module) for part in parts]
            if any(constant) and any(
                rounded(part) and not fixed for part, fixed in zip(parts, constant, strict=True)
            ):
                yield f"{where}:{node.lineno}"


def test_no_message_rounds_a_number_beside_a_bare_limit():
    assert len(list(ROOT.rglob("*.py"))) > 100
    assert list(messages_with_a_bare_limit()) == []


def numbers(text):
    return [float(found) for found in re.findall(r"\d+(?:\.\d+)?", text.partition(":")[2] or text)]


def test_standing_just_beyond_its_limit():
    (warning,) = NeutralStanding((1, 0, 0, 0), MOVED_DEG + 0.004, 100).warnings
    scatter, limit = numbers(warning)[:2]
    assert scatter > limit == MOVED_DEG


@pytest.mark.parametrize("over", [1.001, 1.3])
def test_a_sensor_just_beyond_its_limits(over):
    fields = inspect.signature(DeviceQuality).parameters
    values = dict.fromkeys(fields, 0.0) | {
        "source": "thigh",
        "rate_hz": 100.0,
        "gyroscope_bias_deg_s": over * 1.0,
        "gyroscope_noise_deg_s": over * 0.5,
        "accelerometer_norm_error_m_s2": -over * 0.02 * 9.80665,
        "dropped_share": over * 0.01,
        "jitter_s": over * 0.1 / 100,
    }
    found = DeviceQuality(**values).warnings
    assert len(found) == 5
    for warning in found:
        before, after = re.split("above|beyond", warning, maxsplit=1)
        value, limit = numbers(before)[-1], float(re.search(r"\d+(?:\.\d+)?", after).group())
        assert value > limit, warning


def test_cycles_just_beyond_their_limits():
    rng = np.random.default_rng(1)
    eligible, bout = np.ones(40, dtype=bool), np.ones(40, dtype=np.int64)
    base = 30 - 30 * np.cos(np.linspace(0, 2 * np.pi, 101))
    noise = rng.normal(0, 0.5, (40, 1))
    for size in np.linspace(1.5, 6, 200):
        curves = base + noise
        curves[7] = base + size
        reason = outlying_curves(curves, bout, eligible, "reference")[7]
        if reason:
            break
    value, limit = numbers(reason)[:2]
    assert value > limit
    changes = rng.normal(0, 1, 40)
    changes[5] = np.median(changes) + 12.003
    reason = turns(changes, eligible)[0][5]
    _, departure, limit = numbers(reason)[:3]
    assert departure > limit
    durations = np.exp(rng.normal(0, 0.01, 40))
    for longer in np.linspace(1.1, 1.3, 2000):
        durations[3] = longer
        reason = outlying_durations(durations, bout, eligible)[3]
        if reason:
            break
    value, low, high = numbers(reason)[:3]
    assert value > high > low
