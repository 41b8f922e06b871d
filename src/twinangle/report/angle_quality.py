"""The quality of the wearable's angle: what each procedure says of its own."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.report.blocks import Block, heading, table, without_empty
from twinangle.results import StudyResults
from twinangle.results.grouping import Naming
from twinangle.wording import number

_QUALITY = {
    "neutral_scatter_deg": "Neutral scatter (°)",
    "axis_spread_deg": "Axis spread (°)",
    "axis_difference_deg": "Axes apart (°)",
    "hinge_difference_deg": "From hinge (°)",
    "residual_rms_deg": "Outside the hinge (°)",
    "residual_cycle_median_deg": "Median cycle (°)",
    "residual_cycle_largest_deg": "Largest cycle (°)",
    "heading_uncertainty_deg": "Heading SE (°)",
}


def angle_quality_blocks(results: StudyResults, naming: Naming) -> list[Block]:
    """Return what each procedure says of its own angle."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            trial.procedure,
            *(number(quality.get(key)) for key in _QUALITY),
        ]
        for trial in results.trials
        if (quality := trial.angle_quality)
    ]
    head: Sequence[str] = ("Participant", "Recording", "Procedure", *_QUALITY.values())
    caption = (
        "Quality of the wearable's angle: scatter of the relative orientation in neutral standing, "
        "spread of the joint's rate about the flexion axis, angle between that axis by the mean "
        "rate and by the principal component, angle from it to the hinge that both gyroscopes fit "
        "best over the whole recording, RMS of the joint rotation outside the axis (over the "
        "recording, then in the median and in the worst kept cycle), and standard error of the "
        "sensors' relative heading."
    )
    head, rows = without_empty(head, rows)
    return [heading("Angle"), table(head, rows, words=3, caption=caption)] if rows else []
