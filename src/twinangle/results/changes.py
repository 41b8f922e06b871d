"""What tells two results apart: version, inputs, settings, numbers, words; each with its place."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from twinangle.results.model import StudyResults
from twinangle.results.trial_result import TrialResult
from twinangle.signals.recording import Array

KINDS = ("version", "input", "setting", "number", "wording")
# Own rule: the mathematical libraries of two machines differ in their last digits, and a fit that
# iterates carries that up to about a millionth; what a reader sees has four digits at most. The
# difference of two such numbers keeps their error where it is itself small: the absolute part.
RELATIVE = 1e-6
ABSOLUTE = 1e-6
# Whatever of these an entry of a list holds is its name, where that tells all entries apart.
_NAMES = (
    "participant", "session", "condition", "trial", "side", "device", "procedure",
    "reference_name", "quantity", "against",
    "kind", "design", "instrument", "part", "name", "path", "segment", "index", "bout",
    "first", "second",
)  # fmt: skip
_ABSENT = object()
_POINT = re.compile(r"(?<!_ci)(?<!_ci_deg)(?<!_ci_deg2) \[\d+\]$")
# What a researcher asks first comes first. Own order.
TOPICS = (
    ("what was analysed", re.compile(r"^answer\.|\] (status|reason)$|\bcycles\.(found|kept)$")),
    ("offset", re.compile(r"^curves \[.*\] offset_|\b(agreement\.offset|offset_zeroed)_")),
    (
        "RMS",
        re.compile(r"^curves \[.*\] (rms|mad)_|\bagreement\.(rms|mad)_|\bagreement\.rmse_"),
    ),
    ("SD over cycles", re.compile(r"^variability |\] variability\.|\] exclusions\.")),
    ("limits of agreement", re.compile(r"^(limits_of_agreement|equivalence|forms) ")),
    ("conditions", re.compile(r"^conditions")),
    ("procedures", re.compile(r"^ranking ")),
    ("clocks", re.compile(r"\] (synchronisation|clock|gyroscope_lag|timing_cost)\.")),
)
REST = "the rest"


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that two results do not have alike; `before` or `after` is None where it lacks.

    A setting that results repeat is one change: `repeated` says in how many places of them.
    """

    kind: str  # one of KINDS
    place: str
    before: object
    after: object
    repeated: int = 0

    def summary(self) -> str:
        """Return one line."""
        before, after = (_shown(value) for value in (self.before, self.after))
        where = "1 place" if self.repeated == 1 else f"{self.repeated} places"
        repeated = f" (and so in {where} of the results)" if self.repeated else ""
        return f"{self.place}: {before} → {after}{repeated}"


@dataclass(frozen=True, slots=True)
class _Apart:
    """A place in which two results are not alike, with what stands there before and after."""

    place: tuple[str, ...]
    before: object
    after: object

    @property
    def named(self) -> tuple[str, object, object]:
        """The last name with both values: what a setting and its repetitions have alike."""
        return self.place[-1], self.before, self.after

    @property
    def kind(self) -> str:
        return _kind(self.place, self.before, self.after)

    def change(self, repeated: int) -> Change:
        texts = isinstance(self.before, str) or isinstance(self.after, str)
        own_name = self.place[-1].startswith("[") and texts
        where = _plain_place(self.place[:-1] if own_name else self.place)
        return Change(self.kind, where, self.before, self.after, repeated)


def topic_of(place: str) -> str:
    """Return which of `TOPICS` a number is of; points of curves and plots are of the rest."""
    if _POINT.search(place):
        return REST
    return next((name for name, pattern in TOPICS if pattern.search(place)), REST)


def asked_first(change: Change) -> tuple[int, int, bool, bool]:
    """Return the order of a change: kind, topic, people before recordings, values first."""
    names = [name for name, _ in TOPICS]
    topic = topic_of(change.place)
    rank = names.index(topic) if topic in names else len(names)
    whose = change.place.startswith("[")  # a recording's own
    return KINDS.index(change.kind), rank, whose, "_ci" in change.place


def changes(
    before: StudyResults,
    after: StudyResults,
    *,
    relative: float = RELATIVE,
    absolute: float = ABSOLUTE,
) -> tuple[Change, ...]:
    """Return what two results do not have alike, in the order of `KINDS` and of `TOPICS`.

    Numbers ``a`` and ``b`` are alike where ``|a - b| <= absolute + relative * max(|a|, |b|)``, so
    that to exchange the two results exchanges `before` and `after` of every change and no more.

    Parameters
    ----------
    before, after : StudyResults
        Of two runs. Trials, pooled values and files are matched by their names, not by their place
        in a list. Curves of single cycles and traces are compared where both hold them.
    relative, absolute : float
        How far numbers may be apart and still be alike. Own rule.

    Returns
    -------
    tuple of Change
        Empty where the results are alike.
    """
    one, other = dict(_leaves(before.to_json())), dict(_leaves(after.to_json()))
    apart: list[_Apart] = []
    for place in dict.fromkeys([*one, *other]):
        a, b = one.get(place, _ABSENT), other.get(place, _ABSENT)
        if not _alike(a, b, relative, absolute):
            apart.append(_Apart(place, *(None if v is _ABSENT else v for v in (a, b))))
    found = [
        *_with_settings_once(apart),
        *_curve_changes(before, after, relative, absolute),
    ]
    return tuple(sorted(found, key=asked_first))


def _with_settings_once(apart: Sequence[_Apart]) -> Iterator[Change]:
    """Yield a change a place, but one alone for a setting and all that repeats it.

    An option is a setting of the study as the run used it, and results repeat it under its name.
    """
    settings = [each for each in apart if each.kind == "setting"]
    stated = [each for each in settings if each.place[0] != "options"]
    by_values = {(each.before, each.after): each.place for each in stated}
    told = {
        each.named: by_values.get((each.before, each.after), each.place) for each in settings
    } | {each.named: each.place for each in stated}
    repeated = Counter(
        told[each.named] for each in apart if each.kind != "setting" and each.named in told
    )
    for each in apart:
        if each.kind == "setting":
            once = each.place[0] != "options" or told[each.named] == each.place
        else:
            once = each.named not in told
        if once:
            yield each.change(repeated[each.place] if each.kind == "setting" else 0)


def _leaves(value: object, place: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], object]]:
    """Yield every value that holds no others, with the names that lead to it."""
    if isinstance(value, Mapping):
        for key, item in value.items():
            yield from _leaves(item, (*place, str(key)))
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for name, item in zip(_entry_names(value), value, strict=True):
            yield from _leaves(item, (*place, name))
    else:
        yield place, value


def _entry_names(values: Sequence[Any]) -> list[str]:
    """Return a name for each entry of a list: its own where they tell all apart, else its place."""
    if values and all(isinstance(value, Mapping) for value in values):
        names = [
            " ".join(str(value[key]) for key in _NAMES if _names(value.get(key)))
            for value in values
        ]
        if all(names) and max(Counter(names).values()) == 1:
            return [f"[{name}]" for name in names]
    if values and all(isinstance(value, str) for value in values):
        return _numbered(values)
    return [f"[{k}]" for k in range(len(values))]


def _names(value: object) -> bool:
    """Tell whether a value may be part of a name; a list, as of whose each cycle is, is none."""
    return isinstance(value, str | int | float) and value != ""


def _numbered(texts: Sequence[str]) -> list[str]:
    """Return texts as their own names, so that one more does not shift all that follow."""
    seen: Counter[str] = Counter()
    names = []
    for text in texts:
        seen[text] += 1
        names.append(f"[{text}]" if seen[text] == 1 else f"[{text}, {seen[text]}]")
    return names


def _alike(a: object, b: object, relative: float, absolute: float) -> bool:
    if a is _ABSENT or b is _ABSENT:
        return False
    numbers = (int, float)
    if isinstance(a, bool) or isinstance(b, bool):
        return a is b
    if isinstance(a, numbers) and isinstance(b, numbers):
        return _close(float(a), float(b), relative, absolute)
    return bool(a == b)


def _close(a: float, b: float, relative: float, absolute: float) -> bool:
    if a == b or (math.isnan(a) and math.isnan(b)):
        return True
    return abs(a - b) <= absolute + relative * max(abs(a), abs(b)) < math.inf


def _kind(place: tuple[str, ...], a: object, b: object) -> str:
    if place[:2] == ("provenance", "version"):
        return "version"
    if place[:2] == ("provenance", "inputs"):
        return "input"
    if place[:2] == ("provenance", "parameters") or place[0] in ("options", "study"):
        return "setting"
    return "wording" if any(isinstance(value, str) for value in (a, b)) else "number"


def _plain_place(place: tuple[str, ...]) -> str:
    """Return a place as a reader names it."""
    for beginning in (("provenance", "parameters"), ("provenance", "inputs"), ("provenance",)):
        if place[: len(beginning)] == beginning:
            place = place[len(beginning) :]
    if place and place[0] == "trials":
        place = place[1:]
    text = ""
    for name in place:
        text += f" {name}" if name.startswith("[") else f".{name}" if text else name
    return text.strip().replace("] .", "] ").replace("].", "] ")


def _curve_changes(
    before: StudyResults, after: StudyResults, relative: float, absolute: float
) -> list[Change]:
    """Return where curves of single cycles, or traces, are apart."""
    others = {_identity(trial): trial for trial in after.trials}
    found = []
    for trial in before.trials:
        other = others.get(_identity(trial))
        for name, a, b in _curves(trial, other) if other is not None else ():
            text = _apart(a, b, relative, absolute)
            if text:
                place = f"[{' '.join(filter(None, _identity(trial)))}] {name}"
                found.append(Change("number", place, *text))
    return found


def _identity(trial: TrialResult) -> tuple[str, ...]:
    names = ("participant", "session", "condition", "trial", "side", "procedure")
    return tuple(getattr(trial, name) for name in names)


def _curves(
    trial: TrialResult, other: TrialResult
) -> Iterator[tuple[str, Array | None, Array | None]]:
    """Yield the curves that both trials may hold, in degrees."""
    for part, words in (("cycles", "curves of the cycles"), ("paired", "traces")):
        a, b = getattr(trial, part), getattr(other, part)
        if a is None or b is None:
            continue
        for instrument in ("wearable", "reference"):
            name = f"{instrument}_deg"
            yield f"{words}, {instrument}", getattr(a, name), getattr(b, name)


def _apart(
    a: Array | None, b: Array | None, relative: float, absolute: float
) -> tuple[str, str] | None:
    """Say how far two arrays are apart; None where they are alike."""
    if a is None or b is None:
        return None if a is b else (_there(a), _there(b))
    if a.shape != b.shape:
        return f"{a.shape} values", f"{b.shape} values"
    near = np.isclose(a, b, rtol=relative, atol=absolute, equal_nan=True)
    if near.all():
        return None
    largest = np.nanmax(np.abs(a - b)) if np.isfinite(a - b).any() else math.nan
    return f"{a.size} values", f"{int((~near).sum())} of them differ, by up to {largest:.3g}°"


def _there(values: Array | None) -> str:
    return "none" if values is None else f"{values.shape} values"


def _shown(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, float):
        return f"{value:.10g}"
    text = str(value)
    if len(text) == 64 and all(letter in "0123456789abcdef" for letter in text):
        return f"{text[:12]}…"
    return text
