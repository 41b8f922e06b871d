"""The tables beside the report: the numbers of `results.json` as CSV, unrounded."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from twinangle.report.fields import fields_by_condition, fields_by_time
from twinangle.report.tables_cycles import bout_rows, cycle_rows
from twinangle.results import StudyResults, TrialResult, absences, given
from twinangle.results.grouping import distinct, warnings_of
from twinangle.results.serialise import topic_fields
from twinangle.visible import visible

Row = Mapping[str, Any]
Table = tuple[Sequence[str], Iterable[Row]]  # first columns, rows
IDENTIFIERS = ("participant", "session", "condition", "trial", "side", "procedure")
FORMULA = ("=", "+", "-", "@")
_POOLED = ("procedure", "condition")
# Tables that are lists of `results.json` as they stand: its key, the first columns.
_RECORDED = {
    "limits_of_agreement": ("limits_of_agreement", (*_POOLED, "quantity")),
    "error_budgets": ("budget", _POOLED),
    "equivalence": ("equivalence", (*_POOLED, "quantity")),
    "curves_over_participants": ("curves", _POOLED),
    "variability_over_participants": ("variability", _POOLED),
    "limits_in_other_forms": ("forms", (*_POOLED, "quantity")),
    "conditions_adjusted": (
        "conditions_adjusted",
        ("procedure", "quantity", "condition", "against", "covariates"),
    ),
    "conditions": ("conditions", ("procedure", "quantity", "condition", "against")),
}


def write_tables(results: StudyResults, folder: Path) -> tuple[Path, ...]:
    """Write every table as CSV (UTF-8, comma, point, one header row) and return the files.

    Numbers are those of `results.json`, unrounded; an empty cell is a number that there is not.
    A table without rows is written with its header alone.

    Parameters
    ----------
    results : StudyResults
        What a run found.
    folder : Path
        An existing folder.

    Returns
    -------
    tuple of Path
        The files: the tables over all trials, then those of each trial.
    """
    record = results.to_json()
    tables = _pooled_tables(results, record) | _trial_tables(results, record)
    return tuple(
        write_csv(folder / f"{name}.csv", header, rows) for name, (header, rows) in tables.items()
    )


def _pooled_tables(results: StudyResults, record: dict[str, Any]) -> dict[str, Table]:
    """Return what is said of the study as a whole, by the table's name."""
    recorded: dict[str, Table] = {
        name: (header, [_flat(row) for row in _told(record[key])])
        for name, (key, header) in _RECORDED.items()
    }
    return recorded | {
        "limits_points": (
            (*_POOLED, "quantity", "participant", "size_deg", "difference_deg"),
            _point_rows(results),
        ),
        "contest": (("condition", "procedure"), _contest_rows(record, "standings")),
        "contest_differences": (("condition", "first"), _contest_rows(record, "differences")),
        "along_cycle": ((*_POOLED, "percent"), _along_cycle_rows(record)),
        "reliability": (("design", "instrument", "statistic"), _reliability_rows(record)),
        "not_given": (
            ("topic", *_POOLED, "quantity", "part", "reason"),
            _absent_rows(results),
        ),
        "magnetic_field": (("condition", "segment"), fields_by_condition(results)),
        "inputs": (("path", "sha256"), record["provenance"]["inputs"]),
    }


def _told(rows: Iterable[Row]) -> list[Row]:
    """Return the rows that hold a value; the others are in the table of what is not given."""
    return [row for row in rows if not {"reason", "part"} <= row.keys()]


def _absent_rows(results: StudyResults) -> Iterable[dict[str, Any]]:
    """Return what is not given, topic by topic, and why."""
    for item in topic_fields():
        for pooled, absent in absences(getattr(results, item.name)):
            yield {
                "topic": item.name,
                "procedure": pooled.procedure,
                "condition": pooled.condition,
                "quantity": pooled.quantity,
                "part": absent.part,
                "reason": absent.reason,
            }


def _trial_tables(results: StudyResults, record: dict[str, Any]) -> dict[str, Table]:
    """Return what is said of each trial, by the table's name."""
    return {
        "trials": ((*IDENTIFIERS, "status"), _trial_rows(record)),
        "sensors": ((*IDENTIFIERS, "segment"), _sensor_rows(record)),
        "magnetic_field_by_time": (
            (*IDENTIFIERS[:-1], "segment", "start_s"),
            _field_rows(results),
        ),
        "residual_angle": ((*IDENTIFIERS, "index", "start_s", "end_s"), _residual_rows(record)),
        "cycles": ((*IDENTIFIERS, "cycle", "bout"), cycle_rows(results, IDENTIFIERS)),
        "bouts": ((*IDENTIFIERS, "bout"), bout_rows(record, IDENTIFIERS)),
        "exclusions": (
            (*IDENTIFIERS, "what", "cycle", "start_s", "end_s", "reason"),
            _exclusion_rows(results),
        ),
        "mean_curves": (
            (*IDENTIFIERS, "percent", "wearable_mean_deg", "wearable_sd_deg"),
            _curve_rows(results),
        ),
        "warnings": ((*IDENTIFIERS, "warning"), _warning_rows(results)),
    }


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Row]) -> Path:
    """Write rows whose keys may differ: `header` first, then further keys as they appear."""
    rows = list(rows)
    columns = list(dict.fromkeys([*header, *(key for row in rows for key in row)]))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writerow({name: _cell(name) for name in columns})
        writer.writerows({key: _cell(value) for key, value in row.items()} for row in rows)
    return path


def _cell(value: Any) -> Any:
    """Return what a cell holds: text, a number in full, nothing for none.

    Text that a spreadsheet would take for a formula (it begins with =, +, - or @ and is no number)
    has an apostrophe before it, which makes it text there; control characters (a tab or a carriage
    return before such a one among them) are shown as their codes.
    """
    if value is None or (isinstance(value, float) and not np.isfinite(value)):
        return ""
    if isinstance(value, str):
        value = visible(value)
        return f"'{value}" if value.startswith(FORMULA) and not _is_number(value) else value
    return repr(float(value)) if isinstance(value, float) else value


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?", text, re.ASCII) is not None


def _flat(record: Row, prefix: str = "") -> dict[str, Any]:
    """Return nested values under joined keys; a pair becomes two columns, longer lists are left.

    `{"cycles": {"kept": 3}}` becomes `{"cycles.kept": 3}`; `bias_ci_deg: [1, 2]` becomes
    `bias_ci_deg.low` and `bias_ci_deg.high`.
    """
    flat: dict[str, Any] = {}
    for key, value in record.items():
        name = f"{prefix}{key}"
        if isinstance(value, Mapping):
            flat |= _flat(value, f"{name}.")
        elif isinstance(value, list):
            if len(value) == 2 and all(_is_end(item) for item in value):
                flat |= {f"{name}.low": value[0], f"{name}.high": value[1]}
        else:
            flat[name] = value
    return flat


def _is_end(item: Any) -> bool:
    """Return whether a value may be an end of an interval, which may be open or not there."""
    return item is None or isinstance(item, float) or item in ("inf", "-inf")


def _trial_rows(record: Row) -> list[dict[str, Any]]:
    """Return one row a trial and procedure."""
    rows = [_flat({k: v for k, v in trial.items() if v is not None}) for trial in record["trials"]]
    columns = distinct(key for row in rows for key in row)
    return [{key: row.get(key) for key in columns} for row in rows]


def _contest_rows(record: Row, part: str) -> list[dict[str, Any]]:
    """Return the standings, or the paired differences, of every contest."""
    return [
        {"condition": contest["condition"]}
        | {key: ", ".join(v) if isinstance(v, list) else v for key, v in row.items()}
        for contest in _told(record["ranking"])
        for row in contest[part]
    ]


def _along_cycle_rows(record: Row) -> Iterable[dict[str, Any]]:
    """Return bias, its band and the limits, point by point."""
    for item in _told(record["along_cycle"]):
        limits, difference = item["limits"], item["difference"]
        bias_band = limits["bias_band"]
        n = len(limits["bias_deg"])
        for k in range(n):
            yield {
                "procedure": item["procedure"],
                "condition": item["condition"],
                "percent": 100.0 * k / (n - 1),
                "bias_deg": limits["bias_deg"][k],
                "bias_band_low_deg": bias_band["lower_deg"][k],
                "bias_band_high_deg": bias_band["upper_deg"][k],
                "lower_deg": limits["lower_deg"][k],
                "upper_deg": limits["upper_deg"][k],
                "p_adjusted": difference["p_adjusted"][k],
            }


def _reliability_rows(record: Row) -> Iterable[dict[str, Any]]:
    """Return one row a statistic: the six intraclass correlations, SEM, change, concordance."""
    for item in _told(record["reliability"]):
        names = {key: item[key] for key in ("design", "instrument")}
        where = {key: item[key] for key in ("procedure", "condition", "quantity")}
        where["columns"] = ", ".join(item["columns"])
        for one in item["intraclass"]:
            yield names | {"statistic": one["form"]} | where | _flat(one)
        error, both = item["error"], item["concordance"]
        shared = ("n_participants", "n_measurements", "confidence")
        size = {k: error[k] for k in shared if k in error}
        for key in ("sem", "sem_agreement", "mdc") if "sem_deg" in error else ():
            numbers = {"value": error[f"{key}_deg"], "value_ci": error.get(f"{key}_ci_deg")}
            yield names | {"statistic": key} | where | _flat(numbers) | size
        if both is not None:
            yield names | {"statistic": "Lin's concordance"} | where | _flat(both)


def _sensor_rows(record: Row) -> Iterable[dict[str, Any]]:
    """Return one row a sensor of every trial and procedure."""
    for trial in record["trials"]:
        for sensor in trial["sensors"]:
            yield {name: trial[name] for name in IDENTIFIERS} | _flat(sensor)


def _field_rows(results: StudyResults) -> Iterable[dict[str, Any]]:
    """Return one row a sensor and ten seconds: the field's deviation and disturbed share."""
    for trial, row in fields_by_time(results):
        yield {name: getattr(trial, name) for name in IDENTIFIERS[:-1]} | row


def _residual_rows(record: Row) -> Iterable[dict[str, Any]]:
    """Return one row a kept cycle: how far the joint's rotation strays from the hinge."""
    for trial in record["trials"]:
        for cycle in trial["residual_by_cycle"]:
            yield {name: trial[name] for name in IDENTIFIERS} | cycle


def _identity(trial: TrialResult) -> dict[str, Any]:
    """Return what names a trial and its procedure."""
    return {name: getattr(trial, name) for name in IDENTIFIERS}


def _point_rows(results: StudyResults) -> Iterable[dict[str, Any]]:
    """Return the points of the Bland-Altman plots."""
    for pooled, found in given(results.limits):
        points = zip(found.participant, found.size, found.difference, found.zero, strict=True)
        for code, size, difference, zero in points:
            yield {
                "procedure": pooled.procedure,
                "condition": pooled.condition,
                "quantity": pooled.quantity,
                "participant": code,
                "size_deg": float(size),
                "difference_deg": float(difference),
                "zero_deg": float(zero),
            }


def _exclusion_rows(results: StudyResults) -> Iterable[dict[str, Any]]:
    """Return every trial and every cycle that was left out, with the reason."""
    for trial in results.trials:
        if trial.status != "ok":
            yield {**_identity(trial), "what": f"trial {trial.status}", "reason": trial.reason}
        if trial.cycles is None:
            continue
        for k, reason in enumerate(trial.cycles.reason):
            if reason:
                yield {
                    **_identity(trial),
                    "what": "cycle",
                    "cycle": k,
                    "start_s": float(trial.cycles.start_s[k]),
                    "end_s": float(trial.cycles.end_s[k]),
                    "reason": reason,
                }


def _curve_rows(results: StudyResults) -> Iterable[dict[str, Any]]:
    """Return the mean curves and SDs over the cycle, point by point."""
    for trial in results.trials:
        wearable, reference = trial.wearable_variability, trial.reference_variability
        if wearable is None:
            continue
        percent = np.linspace(0, 100, wearable.mean_curve.size)
        columns = {
            "percent": percent,
            "wearable_mean_deg": wearable.mean_curve,
            "wearable_sd_deg": wearable.sd_curve,
        }
        if reference is not None:
            columns |= {
                "reference_mean_deg": reference.mean_curve,
                "reference_sd_deg": reference.sd_curve,
            }
        for values in zip(*columns.values(), strict=True):
            yield _identity(trial) | dict(zip(columns, map(float, values), strict=True))


def _warning_rows(results: StudyResults) -> Iterable[dict[str, Any]]:
    """Return every warning with its trial."""
    for trial in results.trials:
        for text in warnings_of(trial):
            yield {**_identity(trial), "warning": text}
