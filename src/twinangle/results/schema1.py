"""Results of schema 1 under the keys of schema 2, as far as they are still kept."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

Record = dict[str, Any]
_RENAMED = {
    "contests": "ranking",
    "error_budgets_deg2": "budget",
    "curves_over_participants": "curves",
    "variability_over_participants": "variability",
    "limits_in_other_forms": "forms",
}
_TOPICS = ("limits_of_agreement", "forms", "curves", "variability", "conditions",
           "conditions_adjusted", "ranking", "budget", "reliability", "equivalence",
            "along_cycle", "sensitivity")  # fmt: skip
_TRIAL_RENAMED = {"error_budget_deg2": "budget", "strides": "cycle_durations"}
_ANYWHERE = {"strides_per_minute": "cycles_per_minute"}
_COMPARED = ("ratio", "ratio_ci", "difference_deg", "difference_ci_deg", "added_sd_deg",
             "added_sd_ci_deg")  # fmt: skip
_FORMS = {
    "regression": "by regression",
    "ratio": "of the ratio",
    "mixed": "by a mixed model",
    "deming": "Deming's line",
}
NOT_KEPT = "not in a file of schema 1, or in another form."


def upgraded(old: Mapping[str, Any]) -> Record:
    """Return a record of schema 1 with its keys and parts named and placed as in schema 2.

    Parameters
    ----------
    old : mapping
        As read from `results.json`.

    Returns
    -------
    dict
        What schema 1 does not have is left out, for the reader to leave open.
    """
    named = {_RENAMED.get(key, key): _slow_drift(value) for key, value in old.items()}
    study = dict(named.pop("study"))
    agreement = named["provenance"]["parameters"].get("agreement", {})
    new: Record = {
        "schema": 2,
        "study": {
            "title": study["title"],
            "joint": study["joint"],
            "invented": study.get("invented", False),
        },
        "options": {
            "confidence": study["confidence"],
            "margin_deg": study["acceptable_deg"],
            "error_ratio": agreement.get("error_ratio"),
            "published_interval": False,
            "reference_sd_deg": agreement.get("reference_sd_deg"),
            "against": named["provenance"]["parameters"].get("conditions", {}).get("against"),
            "seed": 0,
        },
        "trials": [_trial(trial) for trial in named["trials"]],
        "recordings_pooled": [],
        "decisions": [],
        "without_decisions": [],
        "notes": [
            *named.get("notes", ()),
            *(f"{each['part']}: {each['reason']}" for each in named.pop("not_given", ())),
        ],
        "provenance": named["provenance"],
    }
    for topic in _TOPICS:
        new[topic] = [_pooled(topic, item) for item in named.get(topic, ())]
    return new


def _slow_drift(value: Any) -> Any:
    """Return a part with `wander` and `strides_per_minute`, as they were called, as of now."""
    if isinstance(value, Mapping):
        return {
            _ANYWHERE.get(key, re.sub(r"^wander(?=_|$)", "slow_drift", key)): _slow_drift(one)
            for key, one in value.items()
        }
    return [_slow_drift(one) for one in value] if isinstance(value, list) else value


def _trial(old: Mapping[str, Any]) -> Record:
    new = {_TRIAL_RENAMED.get(key, key): value for key, value in old.items()}
    quality = dict(new.get("angle_quality") or {})
    new["residual_by_cycle"] = quality.pop("residual_by_cycle", [])
    new["angle_quality"] = quality or None
    lag = new.get("gyroscope_lag") or None
    new["gyroscope_lag"] = lag | {"part": ""} if lag is not None and "reason" in lag else lag
    new["multiple_correlation"] = new.get("multiple_correlation") or None
    n_cycles = {"n_cycles": (new.get("cycles") or {}).get("kept", 0)}
    if (curves := new.get("agreement")) is not None:
        curves = dict(curves)
        parts = curves.pop("mean_squared_difference_deg2", {})
        for key in ("offset_zeroed_deg", "offset_zeroed_ci_deg"):
            curves.pop(key, None)  # follows from the offset and neutral standing
        new["agreement"] = (
            curves | n_cycles | {f"msd_{name}_deg2": one for name, one in parts.items()}
        )
    if (spread := new.get("variability")) is not None:
        spread = dict(spread)
        compared = {key: spread.pop(key) for key in _COMPARED if key in spread}
        sds = {"test_sd_deg": spread["wearable_sd_deg"]}
        sds["reference_sd_deg"] = spread["reference_sd_deg"]
        known = spread["reference_sd_deg"] is not None
        counts = {f"{name}_n_cycles": n_cycles["n_cycles"] for name in ("wearable", "reference")}
        if not known:
            counts["reference_n_cycles"] = None
        comparison = sds | compared | n_cycles if known else None
        new["variability"] = spread | counts | {"comparison": comparison}
    return new


def _pooled(topic: str, old: Mapping[str, Any]) -> Record:
    new = {"procedure": "", "condition": "", "quantity": ""} | dict(old)
    if topic == "equivalence":  # judged by another rule then
        names = ("procedure", "condition", "quantity")
        return {name: new[name] for name in names} | {"reason": NOT_KEPT, "part": ""}
    if topic == "along_cycle":
        return _along_cycle(new)
    if topic == "forms":
        reasons = new.pop("not_given", {})
        for name, said in _FORMS.items():
            if new.get(name) is None:
                new[name] = {"reason": reasons.get(said, NOT_KEPT), "part": ""}
    if topic == "reliability":
        new["intraclass"] = new.pop("intraclass_correlations")
        error = new.pop("measurement_error")
        new |= {"people": [], "scores_deg": [], "left_out": []}
        new["error"] = {"reason": NOT_KEPT, "part": ""} if error is None else _ERROR | error
    if topic == "conditions":
        windows = new.pop("windows", {})
        new |= {f"windows_{key}": one for key, one in windows.items() if "cycles" not in key}
        if windows:
            new |= {f"{end}_window": windows[f"{end}_cycles"] for end in ("fewest", "most")}
        new |= {
            to: new.pop(key)
            for key, to in (
                ("serial_correlation", "serial"),
                ("serial_correlation_against", "serial_against"),
            )
            if key in new
        }
    if topic == "limits_of_agreement":
        _upgrade_limits(new)
    return new


_ERROR = {
    "sem_agreement_ci_deg": [None, None],
    "mdc_agreement_deg": None,
    "mdc_agreement_ci_deg": [None, None],
    "shift_deg": None,
    "shift_ci_deg": [None, None],
}


def _upgrade_limits(new: Record) -> None:
    """Put why a further form of the limits is not given in its place, and how many it is of."""
    counts = {key: new[key] for key in ("n_participants", "n_observations")}
    zeroed, unknown = new.get("zeroed_at_standing"), new.pop("zeroed_note", "")
    if zeroed is not None and zeroed.get("bias_deg") is not None:
        new["zeroed_at_standing"] = zeroed | counts
    else:
        new["zeroed_at_standing"] = {"reason": unknown or NOT_KEPT, "part": ""}
    reason = new.pop("without_reference_error_note", "")
    if reason:
        new["without_reference_error"] = {"reason": reason, "part": ""}
    if new.get("published_form") is not None:
        new["published_form"] = new["published_form"] | counts


def _along_cycle(old: Mapping[str, Any]) -> Record:
    names = ("procedure", "condition", "quantity")
    shared = {"n_participants": old["n_participants"]}
    bands = {
        f"{name}_band": {
            "lower_deg": old[f"{name}_band_deg"][0],
            "upper_deg": old[f"{name}_band_deg"][1],
            **shared,
        }
        for name in ("bias", "participant")
    }
    limits = {key: old[key] for key in ("bias_deg", "lower_deg", "upper_deg", "confidence")}
    return {name: old[name] for name in names} | {
        "limits": limits | bands | shared | {"n_curves": old["n_cycles"]},
        "difference": {"p_adjusted": old["p_adjusted"]} | shared,
    }
