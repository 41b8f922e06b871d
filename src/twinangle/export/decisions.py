"""Decisions on clocks and cycles in the data set, under the new names and files of recordings."""

from __future__ import annotations

import json
from pathlib import Path

from twinangle.export.plain_files import write_text
from twinangle.study import Study, read_bare_study
from twinangle.study.decision import INSTRUMENTS
from twinangle.study.decisions import DECISIONS, Decision, recording_hash

CARRIED = ("lag", "cycle")  # an interval, or a recording that is out, is in the trials table


def is_carried(decision: Decision) -> bool:
    """Tell whether the trials table cannot hold a decision.

    Of several instruments it has one cell to leave a recording out for all of them.
    """
    some = decision.kind == "recording" and bool(decision.wearable or decision.reference)
    return some or decision.kind in CARRIED


def write_decisions(study: Study, root: Path) -> None:
    """Write the decisions that count and that the trials table cannot hold.

    Parameters
    ----------
    study : Study
        With its decisions; an interval or a recording that is out is in its rows by now.
    root : Path
        The data set, whose study file and trials table are written; its rows are in the study's
        order.
    """
    counting = [
        each.decision for each in study.decisions if each.stands and is_carried(each.decision)
    ]
    if not counting:
        return
    written = read_bare_study(root / "study.toml", allow_own_procedures=True)
    rows = {
        old.label: new
        for old, new in zip(study.trials, written.trials, strict=True)
        if not new.exclude
    }
    named = {
        kind: {name for part in study.parts if (name := getattr(part, kind))}
        for kind in INSTRUMENTS
    }
    lines: list[str] = []
    for one in counting:
        if one.recording not in rows:
            continue
        row = rows[one.recording]
        wearable = one.wearable if named["wearable"] else ""  # one alone has no name there
        reference = one.reference if named["reference"] else ""
        moved = Decision(
            who=one.who,
            recording=row.label,
            kind=one.kind,
            value=one.value,
            why=one.why,
            input=recording_hash(written, row, wearable, reference),
            version=one.version,
            when=one.when,
            id=len(lines) + 1,
            wearable=wearable,
            reference=reference,
        )
        lines.append(json.dumps(moved.to_record(), ensure_ascii=False))
    if lines:
        write_text(root / DECISIONS, "\n".join(lines) + "\n")
