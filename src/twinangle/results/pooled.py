"""What the trials of a study say together, topic by topic: a value, or why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar

from twinangle.card import Card, Shown
from twinangle.declare import UNDER_TEST, Spread, number

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Absent(Shown):
    """Why a value is not given."""

    reason: Annotated[str, number("why it is not given")]
    part: Annotated[str, number("which part of the topic, where it has several")] = ""


@dataclass(frozen=True, slots=True)
class Pooled(Shown, Generic[T]):
    """One topic's value for one procedure, condition and quantity.

    A name is empty where the value is of all of them together.
    """

    procedure: Annotated[str, number("the procedure; empty for all together"), UNDER_TEST]
    condition: Annotated[str, number("the condition; empty for all together")]
    quantity: Annotated[str, number("what was compared; empty where the topic is of whole curves")]
    value: Annotated[T | Absent, Spread()]

    def _card(self) -> Card:
        from twinangle.results.cards import card_of_pooled  # it needs this class

        return card_of_pooled(self)

    @property
    def given(self) -> T | None:
        """The value, or None where it is absent."""
        return None if isinstance(self.value, Absent) else self.value

    @property
    def absent(self) -> Absent | None:
        """Why there is no value, or None where there is one."""
        return self.value if isinstance(self.value, Absent) else None


def given(items: Iterable[Pooled[T]]) -> list[tuple[Pooled[T], T]]:
    """Return the items that have a value, each with it, in order.

    Parameters
    ----------
    items : iterable of Pooled
        Rows of a topic, as `results.limits`.

    Returns
    -------
    list of (Pooled, value)
    """
    return [(item, item.value) for item in items if not isinstance(item.value, Absent)]


def absences(items: Iterable[Pooled[T]]) -> list[tuple[Pooled[T], Absent]]:
    """Return the items that have none, each with the reason, in order.

    Parameters
    ----------
    items : iterable of Pooled
        Rows of a topic, as `results.limits`.

    Returns
    -------
    list of (Pooled, Absent)
    """
    return [(item, item.value) for item in items if isinstance(item.value, Absent)]


def named(items: Iterable[Pooled[T]]) -> list[tuple[tuple[str, str, str], T]]:
    """Return each value that is given under its procedure, condition and quantity, in order.

    Parameters
    ----------
    items : iterable of Pooled
        Rows of a topic, as `results.limits`.

    Returns
    -------
    list of ((procedure, condition, quantity), value)
    """
    return [((one.procedure, one.condition, one.quantity), value) for one, value in given(items)]
