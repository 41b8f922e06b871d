"""Whole runs at a second level of confidence: no interval may be left at the usual one."""

import json
import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd
import pytest

from twinangle import read_study, run_study
from twinangle.report.content import report_content, supplement_content
from twinangle.report.methods import methods_text
from twinangle.results.serialise import to_text
from twinangle.simulate import write_demo_study

LEVELS = (0.95, 0.80)
# Ends that are no `…_ci` by name; the ends of percentile limits step from one value to the next.
ENDS = {("lower", "upper"): ("CurveBand", "PairedDifference")}
IN_STEPS = ("PercentileLimits",)
# a detectable change is larger itself the surer one wants to be of it
MOVES = (".mdc_ci", ".mdc_agreement_ci")

SEVERAL = """\
[study]
title = "Invented people on a path"
joint = "knee"
trials = "trials.csv"
invented = true

[wearable]
kind = "angle"
time = "time_s"
angles = {{ first = "first_deg", second = "second_deg" }}

[reference]
kind = "angle"
time = "time_s"
angle = "knee_deg"
unit = "deg"
accuracy_deg = 0.3

[synchronisation]
method = "shared-clock"

[cycles]
method = "angle-peak"

[agreement]
confidence = {level}
acceptable_deg = 5.0
error_ratio = 1.5
"""


def write_several(folder, rng):
    """Write six invented people in two sessions and two places, as ready-made angles."""
    folder.mkdir()
    rows, time = [], np.arange(0, 40, 0.02)
    for person in range(6):
        level, gain = rng.normal(1, 2), rng.normal(1, 0.05)
        for session in ("1", "2"):
            for condition in ("hall", "path"):
                name = f"P{person}_{session}_{condition}"
                stride = np.cumsum(1 + 0.03 * rng.standard_normal(60)) * 1.1
                phase = np.interp(time, np.r_[0, stride], np.arange(61))
                size = np.interp(phase, np.arange(61), rng.normal(60, 2, 61))
                true = 3 + size * np.exp(-(((phase % 1 - 0.6) / 0.1) ** 2) / 2)
                true += rng.normal(0, 0.5) + 8 * np.exp(-(((phase % 1 - 0.15) / 0.06) ** 2) / 2)
                wave = np.interp(time, np.arange(0, 41), rng.normal(0, 0.6, 41))
                columns = {"time_s": time, "first_deg": gain * true + level + wave}
                columns["second_deg"] = columns["first_deg"] + 0.5 + rng.normal(0, 0.3) * wave
                pd.DataFrame(columns).to_csv(folder / f"{name}_w.csv", index=False)
                reference = ""
                if condition == "hall":
                    reference = f"{name}_r.csv"
                    seen = pd.DataFrame({"time_s": time, "knee_deg": true + 0.2 * wave[::-1]})
                    seen.to_csv(folder / reference, index=False)
                rows.append(
                    (f"P{person}", session, condition, "1", "left", f"{name}_w.csv", reference,
                     round(rng.normal(1.3, 0.1), 2))
                )  # fmt: skip
    names = ["participant", "session", "condition", "trial", "side", "wearable", "reference",
             "speed_m_s"]  # fmt: skip
    pd.DataFrame(rows, columns=names).to_csv(folder / "trials.csv", index=False)


@pytest.fixture(scope="module")
def several(tmp_path_factory):
    """Six people at both levels: everything that is over participants."""
    folder = tmp_path_factory.mktemp("several") / "study"
    write_several(folder, np.random.default_rng(8))
    found = []
    for level in LEVELS:
        (folder / "study.toml").write_text(SEVERAL.format(level=level), encoding="utf-8")
        found.append(run_study(read_study(folder)))
    return found


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """One person with inertial sensors at both levels: clocks, and what is over cycles."""
    folder = tmp_path_factory.mktemp("alone") / "study"
    path = write_demo_study(folder, participants=1, walk_s=30.0)
    text = path.read_text(encoding="utf-8").replace(
        '["kalman-two-sensors", "kalman-forward"]', '["kalman"]'
    )
    found = []
    for level in LEVELS:
        path.write_text(text.replace("confidence = 0.95", f"confidence = {level}"), "utf-8")
        found.append(run_study(read_study(path)))
    return found


@pytest.fixture(
    scope="module", params=["several", pytest.param("alone", marks=pytest.mark.nightly)]
)
def runs(request):
    return request.getfixturevalue(request.param)


def intervals(value, path=""):
    """Yield every interval in a result, with where it is and what it belongs to."""
    if is_dataclass(value):
        kind = type(value).__name__
        for item in fields(value):
            inner = getattr(value, item.name)
            if item.name.endswith("_ci"):
                yield f"{path}.{item.name}", kind, inner
            else:
                yield from intervals(inner, f"{path}.{item.name}")
        for (low, high), kinds in ENDS.items():
            if kind in kinds:
                yield f"{path}.{low}", kind, (getattr(value, low), getattr(value, high))
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            if re.search(r"_ci(_|$)", key):
                yield f"{path}.{key}", "plain", inner
            else:
                yield from intervals(inner, f"{path}.{key}")
    elif isinstance(value, tuple | list):
        for k, inner in enumerate(value):
            yield from intervals(inner, f"{path}[{k}]")


def test_no_interval_stays_at_the_usual_level(runs):
    usual, second = (list(intervals(results)) for results in runs)
    assert [where for where, *_ in usual] == [where for where, *_ in second]
    faults, compared = [], 0
    for (where, kind, wide), (_, _, narrow) in zip(usual, second, strict=True):
        for low, high, inner_low, inner_high in zip(
            *map(np.atleast_1d, (*wide, *narrow)), strict=True
        ):
            if np.isnan([low, high]).all() or low == high:
                assert np.array_equal([low, high], [inner_low, inner_high], equal_nan=True), where
                continue
            # A correlation whose interval lies beyond 1 without the noise of few cycles is told as
            # from itself to 1, whatever the level.
            beyond = where.endswith(("correlation_ci", "r_squared_ci")) and high == 1.0
            same = (low, high) == (inner_low, inner_high) and kind not in IN_STEPS and not beyond
            inside = low <= inner_low <= inner_high <= high or where.endswith(MOVES)
            faults += [where] if same or not inside else []
            compared += 1
    assert not faults, "\n".join(faults)
    assert compared > 20


def levels(value, path=""):
    """Yield every level that a result says it has."""
    if is_dataclass(value):
        for item in fields(value):
            inner = getattr(value, item.name)
            if item.name in ("confidence", "alpha"):
                yield f"{path}.{item.name}", inner if item.name == "confidence" else 1 - inner
            else:
                yield from levels(inner, f"{path}.{item.name}")
    elif isinstance(value, tuple | list):
        for k, inner in enumerate(value):
            yield from levels(inner, f"{path}[{k}]")


def test_every_result_says_its_own_level(runs):
    for level, results in zip(LEVELS, runs, strict=True):
        found = list(levels(results))
        wrong = [where for where, said in found if not math.isclose(said, level)]
        assert found
        assert not wrong, "\n".join(wrong)


def texts(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from texts(inner)
    elif isinstance(value, tuple | list):
        for inner in value:
            yield from texts(inner)


def test_no_words_of_the_report_say_another_level(runs):
    _, results = runs
    said = [
        *texts(report_content(results, {})),
        *texts(supplement_content(results, {})),
        methods_text(results),
    ]
    text = "\n".join(said)
    # Limits hold 95 % of the differences, whatever the confidence of their intervals.
    for allowed in ("95 % limits of agreement", "Limits for 95 % of differences"):
        text = text.replace(allowed, "")
    assert "80 %" in text
    # What was simulated is told with the level it was simulated at.
    other = [line for line in text.splitlines() if "95 %" in line]
    assert [line for line in other if "simulated" not in line] == []


def captions(content):
    for section in content["sections"]:
        stack = list(section["blocks"])
        while stack:
            block = stack.pop()
            stack += block.get("blocks", ())
            if block["kind"] == "table":
                yield block


def test_every_table_with_intervals_names_their_level(runs):
    _, results = runs
    bare = [
        table["caption"]
        for content in (report_content(results, {}), supplement_content(results, {}))
        for table in captions(content)
        if re.search(r"\(\S+\u00a0to\u00a0\S+\)", " ".join(map(" ".join, table["rows"])))
        and "80 %" not in table["caption"]
    ]
    assert bare == []


def test_the_machine_readable_form_says_the_level(runs):
    for level, results in zip(LEVELS, runs, strict=True):
        record = json.loads(to_text(results))
        assert record["options"]["confidence"] == level
        assert record["options"]["margin_deg"] == 5.0
