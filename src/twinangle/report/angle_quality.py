"""The quality of the wearable's angle: what each procedure says of its own."""

from __future__ import annotations

from twinangle.report.blocks import Block, Column, described, heading
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming
from twinangle.wording import number

_QUALITY = {
    "neutral_scatter_deg": Column(
        "Neutral scatter (°)",
        "neutral scatter: of the relative orientation in neutral standing",
    ),
    "axis_spread_deg": Column(
        "Axis spread (°)", "axis spread: of the joint's rate about the flexion axis"
    ),
    "axis_difference_deg": Column(
        "Axes apart (°)",
        "axes apart: angle between that axis by the mean rate and by the principal component",
    ),
    "hinge_difference_deg": Column(
        "From hinge (°)",
        "from hinge: angle to the hinge that both gyroscopes fit best over the whole recording",
    ),
    "residual_rms_deg": Column(
        "Outside the hinge (°)",
        "outside the hinge: RMS of the joint rotation outside the axis, over the recording",
    ),
    "residual_cycle_median_deg": Column("Median cycle (°)", "the same in the median kept cycle"),
    "residual_cycle_largest_deg": Column("Largest cycle (°)", "and in the worst"),
    "heading_uncertainty_deg": Column(
        "Heading SE (°)", "heading SE: standard error of the sensors' relative heading"
    ),
}


def angle_quality_blocks(results: StudyResults, naming: Naming) -> list[Block]:
    """Return what each procedure says of its own angle."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            trial.procedure,
            *(number(getattr(quality, key)) for key in _QUALITY),
        ]
        for trial in results.trials
        if (quality := trial.angle_quality) is not None
    ]
    found = described(
        "Quality of the wearable's angle.",
        (Column("Participant"), Column("Recording"), Column("Procedure"), *_QUALITY.values()),
        rows,
        words=3,
    )
    return [heading("Angle"), *found] if found else []
