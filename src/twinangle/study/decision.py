"""One decision that a person made while looking at a recording, and what it may say."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Literal, cast, get_args

from twinangle.checks import LARGEST
from twinangle.naming import listed
from twinangle.study.participant_codes import reads_as_person
from twinangle.visible import make_visible

Kind = Literal["lag", "interval", "cycle", "recording", "looked", "undo", "blind"]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""lag: the reference's clock, stated. interval: neutral standing, the functional movement or the
stretch to analyse. cycle: one cycle in or out. recording: the whole recording in or out. looked:
somebody looked at it. undo: an earlier decision no longer stands. blind: the agreement of the
instruments was hidden from here on while deciding, or shown again."""

INTERVALS = ("standing", "functional", "analysed")
EVERY_RECORDING = "*"  # what `blind` is about
WITHOUT_REASON = ("looked", "blind")
LARGEST_DRIFT_PPM = 10_000.0
LONGEST = 2000  # characters of a reason
KEYS = ("id", "when", "who", "recording", "kind", "value", "why", "version", "input")
INSTRUMENTS = ("wearable", "reference")
"""Keys beside `KEYS`, each written only where it names one of several."""

# Which of them a decision of each kind may name.
_NAMES: Mapping[str, tuple[str, ...]] = {
    "lag": INSTRUMENTS,
    "interval": ("wearable",),
    "cycle": INSTRUMENTS,
    "recording": INSTRUMENTS,
    "looked": INSTRUMENTS,
    "undo": (),
    "blind": (),
}
NAME_OF_INSTRUMENT = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")
_TIME = "%Y-%m-%dT%H:%M:%SZ"
_HASH = re.compile(r"[0-9a-f]{64}")
_CODE = re.compile(r"[^\W_](?:[\w. -]*[\w.-])?")


class UnfitError(ValueError):
    """A decision says nothing definite: the end of a sentence, with what is accepted."""


Value = Mapping[str, bool | int | float | str]


@dataclass(frozen=True, slots=True)
class Decision:
    """What somebody decided about one recording, and why.

    Parameters
    ----------
    who : str
        A code of the person who decided, never a name.
    recording : str
        `Trial.label` of the recording; "*" for a decision of kind "blind".
    kind : str
        One of `KINDS`.
    value : mapping
        By kind: lag {"lag_s", "drift_ppm" (0 where left out)}, as in
        ``t_wearable = t_reference * (1 + drift_ppm * 1e-6) + lag_s``; interval {"which": one of
        `INTERVALS`, "start_s", "end_s"} on the wearable's clock; cycle {"start_s": the start of
        the cycle on the wearable's clock, as in the table of cycles, "use"}; recording {"use"};
        undo {"of": the id}; blind {"on"}; looked {}.
    why : str
        The reason; may be empty for "looked" and "blind" alone.
    input : str
        SHA-256 of the recording's files when it was decided (:func:`recording_hash`), by which a
        decision is known that no longer fits its recording; empty for "*".
    version : str
        Of the tool.
    when : str
        In UTC, such as 2026-11-28T02:00:00Z.
    id : int
        The running number that the file gives; 0 before.
    wearable, reference : str
        Which instruments it is about, by their names in the study file; empty for all of a kind,
        and in a study of one. A lag is that of one wearable's clock and one reference's, an
        interval is on one wearable's clock and holds against every reference, a cycle is one
        wearable's, against all references or the one named.
    """

    who: str
    recording: str
    kind: Kind
    value: Value = field(default_factory=dict)
    why: str = ""
    input: str = ""
    version: str = ""
    when: str = ""
    id: int = 0
    wearable: str = ""
    reference: str = ""

    def to_record(self) -> dict[str, Any]:
        """Return the decision as the plain values of its line."""
        record = {key: dict(self.value) if key == "value" else getattr(self, key) for key in KEYS}
        return record | {key: getattr(self, key) for key in INSTRUMENTS if getattr(self, key)}

    def covers(self, other: Decision) -> bool:
        """Whether it is about every instrument that another decision is about."""
        return all(getattr(self, key) in ("", getattr(other, key)) for key in INSTRUMENTS)

    @property
    def target(self) -> tuple[str, str, str]:
        """Recording, kind and interval; of two decisions on one target the later stands.

        A cycle is told by its start as well: see
        :func:`twinangle.study.standing_decisions.in_force`.
        """
        return self.recording, self.kind, str(self.value.get("which", ""))


def moment(time: datetime | None = None) -> str:
    """Return a time, now where none is given, as decisions write it."""
    return (time or datetime.now(UTC)).astimezone(UTC).strftime(_TIME)


def decision_of(record: object) -> Decision:
    """Return the decision that a line's plain values say.

    Raises
    ------
    UnfitError
        The end of a sentence: the key, what was found, what is accepted.
    """
    if not isinstance(record, dict):
        raise UnfitError(f"holds {_shown(record)}; accepted: one JSON object")
    unknown = [key for key in record if key not in (*KEYS, *INSTRUMENTS)]
    missing = [key for key in KEYS if key not in record]
    if unknown or missing:
        what = f"lacks {listed(missing)}" if missing else f"has the unknown key {unknown[0]!r}"
        raise UnfitError(
            f"{what}; accepted keys: {', '.join(KEYS)}, and of several instruments "
            f"{' and '.join(INSTRUMENTS)}"
        )
    number = record["id"]
    if not isinstance(number, int) or isinstance(number, bool) or number < 1:
        raise UnfitError(f"`id` is {_shown(number)}; accepted: a whole number from 1")
    decision = Decision(**record)
    check_decision(decision)
    return decision


def check_decision(decision: Decision) -> None:
    """Refuse a decision that says nothing definite.

    Raises
    ------
    UnfitError
        The end of a sentence: the key, what was found, what is accepted.
    """
    for key in ("when", "who", "recording", "kind", "why", "version", "input", *INSTRUMENTS):
        if not isinstance(getattr(decision, key), str):
            found = _shown(getattr(decision, key))
            raise UnfitError(f"`{key}` is {found}; accepted: a text")
    if decision.kind not in KINDS:
        raise UnfitError(f"`kind` is {decision.kind!r}; accepted: {', '.join(KINDS)}")
    _check_texts(decision)
    _check_recording(decision)
    _check_instruments(decision)
    _check_value(decision.kind, decision.value)


def check_who(who: str) -> None:
    """Refuse a name, an address or a date in the place of a code.

    Raises
    ------
    UnfitError
        The end of a sentence, as of :func:`check_decision`.
    """
    accepted = (
        "accepted: a code of at most 40 letters, digits, hyphens, dots, underscores and spaces "
        "that names nobody, such as R1"
    )
    if len(who) > 40 or not ("@" in who or _CODE.fullmatch(who)):
        raise UnfitError(f"`who` is {_shown(who)}; {accepted}")
    what = "holds an @" if "@" in who else reads_as_person(who)
    if what:
        raise UnfitError(f"`who` is {who!r}, which {what}; {accepted}")


# Control characters, surrogates without a partner, unassigned ones, and ends of lines.
_NO_TEXT = ("Cc", "Cs", "Cn", "Zl", "Zp")


def _is_odd(character: str) -> bool:
    """Return whether a character steers instead of being read: a control, or one of direction."""
    return unicodedata.category(character) in _NO_TEXT or make_visible(character) != character


def _check_texts(decision: Decision) -> None:
    odd = next((each for each in decision.why if _is_odd(each)), "")
    if odd:
        raise UnfitError(
            f"`why` holds {make_visible(odd)!r}; accepted: one line without control characters and "
            "without those that turn the direction of writing"
        )
    try:
        exact = moment(datetime.strptime(decision.when, _TIME).replace(tzinfo=UTC))
    except ValueError:
        exact = ""
    if exact != decision.when or not exact:
        raise UnfitError(
            f"`when` is {decision.when!r}; accepted: a time in UTC such as 2026-11-28T02:00:00Z"
        )
    check_who(decision.who)
    if not decision.version.strip():
        raise UnfitError("`version` is empty; accepted: the version of the tool")
    if not decision.why.strip() and decision.kind not in WITHOUT_REASON:
        raise UnfitError(f"`why` is empty; a decision of kind {decision.kind!r} needs its reason")
    if len(decision.why) > LONGEST:
        raise UnfitError(f"`why` has {len(decision.why)} characters; accepted: {LONGEST} at most")


def _check_recording(decision: Decision) -> None:
    every = decision.recording == EVERY_RECORDING
    if not decision.recording.strip() or (every and decision.kind not in ("blind", "undo")):
        raise UnfitError(
            f"`recording` is {decision.recording!r}; accepted: the name of one recording"
        )
    if decision.kind == "blind" and not every:
        raise UnfitError(
            f"`recording` is {decision.recording!r}; accepted for kind 'blind': "
            f"{EVERY_RECORDING!r}, every recording"
        )
    if not (_HASH.fullmatch(decision.input) or (every and not decision.input)):
        raise UnfitError(
            f"`input` is {decision.input!r}; accepted: a SHA-256 of 64 hexadecimal digits"
        )


def _check_instruments(decision: Decision) -> None:
    for key in INSTRUMENTS:
        name = getattr(decision, key)
        if name and key not in _NAMES[decision.kind]:
            why = {
                "interval": ", since it holds against every reference",
                "undo": ", since it is about the decision it undoes",
            }.get(decision.kind, "")
            raise UnfitError(
                f"`{key}` is {_shown(name)}; accepted for kind {decision.kind!r}: none{why}"
            )
        if name and not NAME_OF_INSTRUMENT.fullmatch(name):
            raise UnfitError(
                f"`{key}` is {_shown(name)}; accepted: the name of a {key} in the study file, of "
                "letters without accents, digits, _ and -"
            )


# Of each kind: its keys, in order, with what each must be; those that may be left out.
_SHAPES: Mapping[str, Mapping[str, str]] = {
    "lag": {"lag_s": "number", "drift_ppm": "drift"},
    "interval": {"which": "which", "start_s": "number", "end_s": "number"},
    "cycle": {"start_s": "number", "use": "yes or no"},
    "recording": {"use": "yes or no"},
    "looked": {},
    "undo": {"of": "id"},
    "blind": {"on": "yes or no"},
}
_OPTIONAL = ("drift_ppm",)
_ACCEPTED = {
    "number": "a finite number of seconds",
    "drift": f"a number within ±{LARGEST_DRIFT_PPM:g} ppm",
    "which": " or ".join(map(repr, INTERVALS)),
    "yes or no": "true or false",
    "id": "the id of an earlier decision",
}


def _check_value(kind: str, value: object) -> None:
    shape = _SHAPES[kind]
    keys = ", ".join(shape) or "none"
    if not isinstance(value, Mapping):
        raise UnfitError(f"`value` is {_shown(value)}; accepted: an object with the keys {keys}")
    missing = [key for key in shape if key not in value and key not in _OPTIONAL]
    unknown = [str(key) for key in value if key not in shape]
    if missing or unknown:
        what = f"lacks {listed(missing)}" if missing else f"has the unknown key {unknown[0]!r}"
        raise UnfitError(f"`value` {what}; accepted keys for kind {kind!r}: {keys}")
    for key, found in value.items():
        if not _fits(shape[key], found):
            raise UnfitError(
                f"`value` has {key} = {_shown(found)}; accepted: {_ACCEPTED[shape[key]]}"
            )
    if kind == "interval" and not value["start_s"] < value["end_s"]:
        raise UnfitError(
            f"`value` ends at {value['end_s']:g} s, not after its start at {value['start_s']:g} s; "
            "accepted: start_s before end_s"
        )


def _fits(form: str, found: object) -> bool:
    if form == "yes or no":
        return isinstance(found, bool)
    if form == "which":
        return found in INTERVALS
    if isinstance(found, bool) or not isinstance(found, int | float):
        return False
    if form == "id":
        return isinstance(found, int) and found >= 1
    most = LARGEST_DRIFT_PPM if form == "drift" else LARGEST
    return abs(cast(float, found)) <= most


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
