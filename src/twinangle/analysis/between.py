"""What several wearables and references say of each other over the recordings of a study."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.three_instruments import ThreeInstruments, three_instrument_errors
from twinangle.analysis.groups import QUANTITIES, attempt, cycle_quantity, unique
from twinangle.analysis.limits import limits_over
from twinangle.options import Options
from twinangle.results.instruments import (
    ErrorsOfThree,
    LimitsBetween,
    PairOfInstruments,
    Triple,
)
from twinangle.results.limits import read_only
from twinangle.results.pooled import Absent
from twinangle.signals.recording import Array
from twinangle.under_test import under_test


def pool_between(pairs: Sequence[PairOfInstruments], options: Options) -> tuple[LimitsBetween, ...]:
    """Return limits of agreement of each pair, condition and quantity: first minus second.

    Parameters
    ----------
    pairs : sequence of PairOfInstruments
        Of every recording, with the curves of the common cycles.
    options : Options
        What the run was asked for.
    """
    return tuple(_limits_of(pairs, options))


def _limits_of(pairs: Sequence[PairOfInstruments], options: Options) -> Iterator[LimitsBetween]:
    for name in dict.fromkeys(one.pair for one in pairs):
        own = [one for one in pairs if one.pair == name]
        for condition in unique(one.condition for one in own):
            several = [one for one in own if one.condition == condition]
            compared = [one for one in several if not one.reason]
            why = "" if compared else " ".join(unique(one.reason for one in several))
            for quantity in QUANTITIES:
                people, first, second = _read(compared, quantity)
                compute = partial(_limits, people, first - second, options)
                yield LimitsBetween(
                    *name,
                    condition,
                    quantity,
                    attempt(compute, why),
                    people,
                    read_only((first + second) / 2.0),
                    read_only(first - second),
                )


def _read(
    pairs: Sequence[PairOfInstruments], quantity: str
) -> tuple[tuple[str, ...], Array, Array]:
    """Return whose each cycle is, and what both instruments read of it."""
    first = [cycle_quantity(one.first_curves, quantity) for one in pairs]
    second = [cycle_quantity(one.second_curves, quantity) for one in pairs]
    people = [one.participant for one, own in zip(pairs, first, strict=True) for _ in own]
    none = np.zeros(0)
    return tuple(people), np.concatenate([none, *first]), np.concatenate([none, *second])


def _limits(people: Sequence[str], difference: Array, options: Options) -> LimitsOfAgreement:
    return limits_over(difference, people, options)


def pool_errors(triples: Sequence[Triple], options: Options) -> tuple[ErrorsOfThree, ...]:
    """Return the errors of each wearable and two references, by condition and quantity.

    Parameters
    ----------
    triples : sequence of Triple
        Of every recording.
    options : Options
        What the run was asked for.
    """
    return tuple(
        ErrorsOfThree(*names, condition, quantity, _errors(own, condition, quantity, options))
        for names in dict.fromkeys(one.names for one in triples)
        for own in [[one for one in triples if one.names == names]]
        for condition in unique(one.condition for one in own)
        for quantity in QUANTITIES
    )


def _errors(
    triples: Sequence[Triple], condition: str, quantity: str, options: Options
) -> ThreeInstruments | Absent:
    own = [one for one in triples if one.condition == condition and len(one.curves[0])]
    if not own:
        return Absent("no recording of the condition has the wearable and both references.")
    read = [
        np.concatenate([cycle_quantity(one.curves[k], quantity) for one in own]) for k in range(3)
    ]
    people = [one.participant for one in own for _ in one.curves[0]]
    wearable, procedure, first, second = own[0].names
    name = under_test(wearable, procedure)
    return attempt(
        lambda: three_instrument_errors(
            read[0],
            read[1],
            read[2],
            people,
            confidence=options.confidence,
            names=(name, first, second),
        )
    )
