"""What is under test: a procedure, with its wearable and its reference where there are several.

Within the results it is one name, such as "strap · kalman · against optical", so that whatever is
told of a procedure is told of all of them in the same way; files name the three in columns and keys
of their own.
"""

from __future__ import annotations

JOIN = " · "
"""Between the parts of the name; none of them may hold it."""
_AGAINST = f"{JOIN}against "
NOT_RECORDED = "no recording of "
"""Before the name of an instrument that a recording was made without."""


def under_test(wearable: str, procedure: str, reference: str = "") -> str:
    """Return the one name; wearable and reference are empty where the study has but one."""
    start = f"{wearable}{JOIN}" if wearable else ""
    return f"{start}{procedure}{_AGAINST}{reference}" if reference else f"{start}{procedure}"


def wearable_of(name: str) -> str:
    """Return the wearable of what is under test; empty where the study has but one."""
    return parts_of(name)[0]


def procedure_of(name: str) -> str:
    """Return the procedure of what is under test."""
    return parts_of(name)[1]


def reference_of(name: str) -> str:
    """Return the reference that it is held against; empty where the study has but one."""
    return parts_of(name)[2]


def parts_of(name: str) -> tuple[str, str, str]:
    """Return wearable, procedure and reference of what is under test."""
    rest, _, reference = name.partition(_AGAINST)
    wearable, joined, procedure = rest.partition(JOIN)
    return (wearable, procedure, reference) if joined else ("", rest, reference)
