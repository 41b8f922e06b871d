"""What one physical test says of one instrument, and the constructors of its four verdicts."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Literal

from twinangle.declare import number
from twinangle.notices import Notice

Subject = Literal["proximal sensor", "distal sensor", "both sensors", "reference"]
Verdict = Literal["consistent", "doubtful", "contradicted", "not tested"]
NAN = math.nan
AT_FAULT: frozenset[str] = frozenset({"doubtful", "contradicted"})


@dataclass(frozen=True, slots=True)
class Outcome:
    """One physical test of one instrument.

    "contradicted" refuses the trial with `said`, "doubtful" warns with it. A test that could not
    run is "not tested", with the reason in `said`, and never "consistent".
    """

    test: Annotated[str, number("name of the test")]
    subject: Annotated[Subject, number("instrument that the test is about")]
    verdict: Annotated[Verdict, number("'consistent', 'doubtful', 'contradicted' or 'not tested'")]
    value: Annotated[float, number("what the test found, in the unit of the row")] = NAN
    limit: Annotated[
        float, number("where the trial is refused, else warned of, in the unit of the row")
    ] = NAN
    unit: Annotated[str, number("unit of value and limit; empty where there is none")] = ""
    said: Annotated[str, number("cause and remedy, or why the test could not run")] = ""

    @property
    def told(self) -> str:
        """The sentence with the instrument before it, for a reader who sees nothing else."""
        kind = "-".join(re.findall("[a-z]+", self.test.lower()))
        beyond = self.value / self.limit if self.value > 0 and self.limit > 0 else NAN
        return Notice(f"{self.subject}: {self.said}", kind, "grave", abs(math.log(beyond)))


def not_tested(test: str, subject: Subject, reason: str) -> Outcome:
    """Return the outcome of a test that could not run."""
    return Outcome(test, subject, "not tested", said=reason)
