"""The methods text names the flexion axis and what neutral standing counts as."""

from dataclasses import replace

import pytest

from twinangle.report.methods import methods_text


@pytest.mark.parametrize("kind", ["inertial", "orientation"])
@pytest.mark.parametrize(
    ("settings", "said"),
    [
        (
            {"axis_method": "mean-rate", "standing_deg": 0.0, "standing_from_reference": False},
            ("mean angular velocity", "counts as 0°"),
        ),
        (
            {"axis_method": "hinge", "standing_deg": 4.5, "standing_from_reference": False},
            ("hinge that both segments", "counts as 4.5°"),
        ),
        (
            {
                "axis_method": "principal-component",
                "standing_deg": 0.0,
                "standing_from_reference": True,
            },
            ("principal component", "the reference's mean there"),
        ),
    ],
)
def test_axis_and_standing_are_said(study, kind, settings, said):
    text = methods_text(replace(study, parameters={"wearable": {"kind": kind} | settings}))
    for words in said:
        assert words in text
