"""Limits of agreement of a study, with the points of the plot and what else is known of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.reference_error import CorrectedLimits
from twinangle.card import Card, Shown
from twinangle.declare import Named, Spread, data, number
from twinangle.results.pooled import Absent
from twinangle.signals.recording import Array


@dataclass(frozen=True, slots=True, eq=False)
class StudyLimits(Shown):
    """Limits of agreement over all trials of one condition under one procedure.

    `participant`, `size`, `difference` and `zero` are the points of the plot, one a cycle.
    """

    limits: Annotated[LimitsOfAgreement, Spread()]
    note: Annotated[str, number("what the numbers rest on: participants, or one's cycles")]
    participant: Annotated[tuple[str, ...], number("whose each point is")]
    size: Annotated[Array, data("mean of the two instruments, one a point")]
    difference: Annotated[Array, data("wearable minus reference, one a point")]
    zero: Annotated[
        Array,
        data("how the instruments differ in neutral standing, one a point; NaN if not known"),
    ]
    zeroed: Annotated[
        LimitsOfAgreement | Absent,
        number("the limits with both instruments zeroed at standing, each recording by itself"),
        Named("zeroed_at_standing"),
    ]
    corrected: Annotated[
        CorrectedLimits | Absent | None,
        number("the limits without the reference's own stated error; null where none is stated"),
        Named("without_reference_error"),
    ] = None
    published: Annotated[
        LimitsOfAgreement | None,
        number("the limits with a published interval, where it is asked for and another"),
        Named("published_form"),
    ] = None

    def _card(self) -> Card:
        from twinangle.results.cards import card_of_limits  # it needs this class

        return card_of_limits(self)

    @property
    def bias_rms_deg(self) -> tuple[float, float]:
        """Root mean square over participants of their own bias, as recorded and both zeroed."""
        people: dict[str, list[tuple[float, float]]] = {}
        points = zip(self.participant, self.difference.tolist(), self.zero.tolist(), strict=True)
        for code, value, zero in points:
            people.setdefault(code, []).append((value, value - zero))
        means = [[sum(column) / len(own) for column in zip(*own, strict=True)]
                 for own in people.values()]  # fmt: skip
        recorded, zeroed = (
            math.sqrt(sum(mean[k] ** 2 for mean in means) / len(means)) for k in (0, 1)
        )
        return recorded, zeroed

    @property
    def bias_from_zero(self) -> Annotated[float, data("the part of the bias that is the zeros")]:
        """The part of the bias that is the instruments' zeros; NaN if not known."""
        if isinstance(self.zeroed, Absent):
            return float("nan")
        return self.limits.bias - self.zeroed.bias

    @property
    def zero_is_a_share(self) -> bool:
        """Whether the zeros are a part of the bias: of its sign, and no larger than it."""
        return 0 <= self.bias_from_zero * self.limits.bias <= self.limits.bias**2

    @property
    def participants_bias_rms(
        self,
    ) -> Annotated[float, data("RMS over participants of their own bias, as recorded")]:
        """RMS over participants of their own bias, as recorded."""
        return self.bias_rms_deg[0]

    @property
    def participants_bias_rms_zeroed(
        self,
    ) -> Annotated[float, data("RMS over participants of their own bias, both zeroed")]:
        """RMS over participants of their own bias, both instruments zeroed; NaN if not known."""
        return float("nan") if isinstance(self.zeroed, Absent) else self.bias_rms_deg[1]


def read_only(values: Array) -> Array:
    """Return a view of an array that cannot be written to."""
    view = np.asarray(values, dtype=np.float64).view()
    view.setflags(write=False)
    return view
