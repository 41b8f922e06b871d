"""The part of the page in which a recording's traces and cycles are zoomed."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from twinangle.plotting.thinning import means_left_out
from twinangle.report.blocks import Block, Column, described, text
from twinangle.report.web.markup import NO_BREAK_SPACE, as_data, element, phrase
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import Naming, TrialGroup, trial_groups
from twinangle.signals.joint import joint_named
from twinangle.signals.recording import Array
from twinangle.visible import make_visible
from twinangle.wording import NOTHING, count, degrees, number

TITLE = "Traces and cycles"
NO_TRACE = "Its trace was not kept with the results, so that there is none to zoom."
KEYS = (
    "Drag over a plot to zoom, double-click for all of it; with a plot in focus: arrow keys to "
    "move, + and - to zoom, 0 for all of it. What the pointer is above is read below the plot."
)


def explorer_blocks(results: StudyResults, recordings: list[dict[str, Any]]) -> list[Block]:
    """Return what stands below the plots as blocks: what is missing, and the table."""
    without = [each["name"] for each in recordings if each["trace"] is None]
    told = count(len(without), "recording")
    missing = [text(f"The traces of {told} were not kept with the results.")] if without else []
    worked = [group.main for group in trial_groups(results) if group.worked]
    rows = [_cells(trial, item) for trial, item in zip(worked, recordings, strict=True)]
    return [*missing, *described("What the plots show.", COLUMNS, rows, words=1)]


def explorer_markup(recordings: list[dict[str, Any]]) -> str:
    """Return what the script fills; without a script it stays hidden."""
    options = "".join(
        element("option", phrase(each["name"]), value=str(k)) for k, each in enumerate(recordings)
    )
    chooser = element("label", "Recording", for_="recording")
    select = element("select", options, id="recording")
    inner = element("p", chooser + " " + select, class_="choose")
    inner += element("p", "", id="words")
    inner += _plot("trace", "Both instruments over time")
    inner += _plot("cycle", "Mean curves over the cycle")
    inner += element("p", KEYS, class_="hint")
    data = f'<script type="application/json" id="recordings">{as_data(recordings)}</script>'
    return f'<div id="explorer" hidden>{inner}</div>{data}'


def _plot(name: str, label: str) -> str:
    """Return one plot's frame: buttons, key, canvas, and what is read out."""
    buttons = "".join(
        element("button", shown, type="button", data_do=do)
        for do, shown in (
            ("left", "Move left"),
            ("right", "Move right"),
            ("in", "Zoom in"),
            ("out", "Zoom out"),
            ("all", "Show all"),
        )
    )
    bar = element("div", buttons, role="toolbar", aria_label=f"{label}: view", class_="bar")
    key = element("p", "", class_="key")
    canvas = element(
        "div", "", class_="canvas", role="group", tabindex="0", aria_label=label,
        aria_describedby=f"{name}-seen",
    )  # fmt: skip
    under = element("p", NO_BREAK_SPACE, class_="under")
    seen = element("p", "", id=f"{name}-seen", role="status", aria_live="polite", class_="seen")
    head = element("h3", label)
    return element("div", head + bar + key + canvas + under + seen, class_="plot", id=name)


def explorer_data(results: StudyResults, traces: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return what the script draws, a recording that worked each.

    Parameters
    ----------
    results : StudyResults
        What a run found.
    traces : mapping of str to str
        The thinned traces (JSON of :class:`twinangle.plotting.thinning.Thinned`) by stem.
    """
    naming = Naming(results)
    axis = f"{joint_named(results.joint).label} (°)"
    found = []
    for group in trial_groups(results):
        if group.worked:
            trace = json.loads(traces[group.stem]) if group.stem in traces else None
            found.append(_recording(group, naming, trace) | {"axis": axis})
    return found


def _recording(group: TrialGroup, naming: Naming, trace: dict[str, Any] | None) -> dict[str, Any]:
    trial = group.main
    name = ", ".join(part for part in (trial.participant, naming.heading(trial)) if part)
    return {
        "name": make_visible(name.replace(NO_BREAK_SPACE, " ")),
        "words": make_visible(_words(trial, trace)),
        "trace": trace,
        "cycles": _means(trial),
    }


def _words(trial: TrialResult, trace: dict[str, Any] | None) -> str:
    """Return the recording in sentences: length, ranges, offset, what is missing."""
    said = [f"Angle by {trial.procedure}."]
    if trace is None:
        said.append(NO_TRACE)
    else:
        said.append(f"{number(trace['duration_s'], 1)} s long.")
        for who in ("wearable", "reference"):
            low_high = trace[f"{who}_range"]
            if low_high is not None:
                low, high = (f"{number(end, 1)}°" for end in low_high)
                missing = trace[f"{who}_missing_s"]
                gaps = f", {number(missing, 2)} s without a value" if missing else ", no gap"
                said.append(f"{who.capitalize()} from {low} to {high}{gaps}.")
        if trace["bin_s"]:
            bins = f"{number(trace['bin_s'], 3)} s"
            said.append(f"Drawn as smallest and largest value of every {bins}.")
    if trial.agreement is not None:
        said.append(f"Offset of the mean curves {degrees(trial.agreement.offset)}.")
    return " ".join(said)


def _means(trial: TrialResult) -> dict[str, Any] | None:
    """Return the mean curves in hundredths of a degree."""
    spread, cycles = trial.wearable_variability, trial.cycles
    if spread is None or cycles is None:
        return None
    reference = trial.reference_variability
    n_out, wearable_out, reference_out = means_left_out(cycles)
    return {
        "n_kept": int(cycles.kept.sum()),
        "n_out": n_out,
        "wearable": _hundredths(spread.mean_curve),
        "reference": None if reference is None else _hundredths(reference.mean_curve),
        "wearable_out": _hundredths(wearable_out),
        "reference_out": _hundredths(reference_out),
    }


def _hundredths(curve: Array | None) -> list[int | None] | None:
    if curve is None:
        return None
    return [round(100 * each) if math.isfinite(each) else None for each in curve.tolist()]


COLUMNS = (
    Column("Recording"),
    Column("Length (s)"),
    Column("Wearable (°)", "wearable, reference: smallest and largest angle of the recording"),
    Column("Reference (°)"),
    Column("Wearable missing (s)", "missing: time without a value"),
    Column("Reference missing (s)"),
    Column("Offset (°)", "offset: of the mean curves, wearable minus reference"),
    Column("Cycles kept"),
    Column("Left out"),
)


def _cells(trial: TrialResult, item: dict[str, Any]) -> list[str]:
    trace, kept = item["trace"], trial.cycles.kept if trial.cycles is not None else None
    seen = [NOTHING] * 5
    if trace is not None:
        both = ("wearable", "reference")
        ranges = [trace[f"{who}_range"] for who in both]
        there = [each is not None for each in ranges]
        seen = [
            number(trace["duration_s"], 1),
            *(f"{number(r[0], 1)} to {number(r[1], 1)}" if r else NOTHING for r in ranges),
            *(
                number(trace[f"{who}_missing_s"], 2) if is_there else NOTHING
                for who, is_there in zip(both, there, strict=True)
            ),
        ]
    offset = number(trial.agreement.offset) if trial.agreement is not None else NOTHING
    counts = [NOTHING] * 2 if kept is None else [str(int(kept.sum())), str(int((~kept).sum()))]
    return [item["name"], *seen, offset, *counts]
