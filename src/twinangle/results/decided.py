"""What people decided, how each decision fared, and what the choices among cycles did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from twinangle.declare import UNDER_TEST, WhereGiven, measured, number

BY_HAND = "by hand: "  # before the reason of what somebody left out


@dataclass(frozen=True, slots=True)
class ChosenCycles:
    """What decisions on cycles did to one recording."""

    out: Annotated[int, number("cycles taken out by a decision")]
    back_in: Annotated[int, number("cycles taken in by a decision although a rule left them out")]
    others: Annotated[
        int, number("further cycles that the rules judge otherwise beside those chosen")
    ]


@dataclass(frozen=True, slots=True)
class DecisionRecord:
    """One decision of a person, and whether it counts."""

    id: Annotated[int, number("running number of the decision")]
    when: Annotated[str, number("when it was made, in UTC")]
    who: Annotated[str, number("code of the person who decided")]
    recording: Annotated[str, number("the recording; * for all")]
    kind: Annotated[
        str, number("'lag', 'interval', 'cycle', 'recording', 'looked', 'undo' or 'blind'")
    ]
    words: Annotated[str, number("what was decided, in words")]
    why: Annotated[str, number("the reason given")]
    counts: Annotated[bool, number("whether it stands and fits its recording")]
    why_not: Annotated[str, number("why it does not count; empty where it does")]
    agreement_hidden: Annotated[
        bool, number("whether the agreement of the instruments was hidden when it was made")
    ]
    lag: Annotated[float | None, measured("s", "lag decided; wearable minus reference clock")]
    drift: Annotated[float | None, measured("ppm", "drift decided with the lag")]
    interval: Annotated[str, number("'standing', 'functional' or 'analysed'; empty if none")]
    start: Annotated[
        float | None, measured("s", "start of the interval or cycle, on the wearable's clock")
    ]
    end: Annotated[float | None, measured("s", "end of the interval, on the wearable's clock")]
    use: Annotated[bool | None, number("whether the cycle or recording is to be used")]
    undoes: Annotated[int | None, number("the decision that it undoes")]
    version: Annotated[str, number("version of the tool it was made with")]
    input: Annotated[str, number("SHA-256 over the recording's files when it was made")]
    wearable: Annotated[
        str, number("name of the wearable it is about; empty for all"), WhereGiven("")
    ] = ""
    reference_name: Annotated[
        str, number("name of the reference it is about; empty for all"), WhereGiven("")
    ] = ""

    @property
    def chooses(self) -> bool:
        """Whether it counts, and chooses among cycles or recordings."""
        return self.counts and self.kind in ("cycle", "recording")


@dataclass(frozen=True, slots=True)
class WithoutDecisions:
    """One number of a procedure and condition, as it is and without what people chose.

    What they chose are cycles and whole recordings; a lag or an interval that was decided is in
    both.
    """

    procedure: Annotated[str, number("procedure that yields the wearable's angle"), UNDER_TEST]
    condition: Annotated[str, number("condition, as the trials table names it")]
    quantity: Annotated[str, number("the number, under its name among the results")]
    unit: Annotated[str, number("unit of both numbers")]
    value: Annotated[float | None, number("the number as it is, with every decision")]
    without: Annotated[float | None, number("the same without decisions on cycles and recordings")]
    n_cycles: Annotated[int, number("cycles kept that it is of")]
    n_cycles_without: Annotated[int, number("the same without those decisions")]
    n_recordings: Annotated[int, number("recordings that it is of")]
    n_recordings_without: Annotated[int, number("the same without those decisions")]

    @property
    def change(
        self,
    ) -> Annotated[float | None, number("the number as it is minus the same without")]:
        """What the decisions moved: the number as it is minus the same without."""
        if self.value is None or self.without is None:
            return None
        return self.value - self.without
