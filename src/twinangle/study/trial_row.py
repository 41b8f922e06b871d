"""One row of the trials table: its columns, and the recording that it describes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from twinangle.card import Shown
from twinangle.signals.recording import Interval, MaskedStretch, Recording
from twinangle.study.by_hand import ByHand
from twinangle.study.file_pairs import SensorFilePatterns
from twinangle.study.instruments import Header

# What an identifier is when the table has no such column.
IDENTIFIERS = {"participant": "", "session": "1", "condition": "all", "trial": "1", "side": ""}


FILES = ("wearable", "reference", "static", "functional", "events")


TIMES = (
    "static_start_s",
    "static_end_s",
    "functional_start_s",
    "functional_end_s",
    "start_s",
    "end_s",
    "distal_lag_s",
)


STANDING = "standing_deg"


MASK = "mask"


LAGS = ("expected_lag_s", "max_lag_s")


SIGNS = ("sign", "wearable_sign")


COLUMNS = (*IDENTIFIERS, *FILES, *TIMES, STANDING, MASK, *LAGS, *SIGNS, "exclude")


BY_SENSOR = ("wearable", "static", "functional")  # these may be two files, one a sensor


REQUIRED = ("participant", "wearable")


@dataclass(frozen=True, slots=True)
class SensorFiles:
    """One recording in two files, one a sensor."""

    proximal: Path
    distal: Path

    @property
    def both(self) -> tuple[Path, Path]:
        """The proximal sensor's file and the distal one's."""
        return self.proximal, self.distal


@dataclass(frozen=True, slots=True)
class Trial(Shown):
    """One recording: who, under which condition, and where its signals are: a file, or in memory.

    Times are on the wearable's clock. `exclude` holds the reason a trial is not analysed, empty
    where it is; `row` is the row in the trials table, the header being row 1.
    """

    participant: str
    session: str
    condition: str
    trial: str
    side: str
    wearable: Path | SensorFiles | Recording
    reference: Path | Recording | None
    static: Interval | Path | SensorFiles | None
    functional: Interval | Path | SensorFiles | None
    start_s: float | None
    end_s: float | None
    exclude: str
    covariates: Mapping[str, float | str]
    row: int
    # for cycles by "events": a file of event times, or the times themselves
    events: Path | tuple[float, ...] | None = None
    # what is added to the distal sensor's clock to land on the proximal's; None where not given
    distal_lag_s: float | None = None
    # the joint's flexion in neutral standing; None where the study file's value holds
    standing_deg: float | None = None
    # stretches that are left out, on the wearable's clock, in the order of time
    mask: tuple[MaskedStretch, ...] = ()
    # settings of this recording; None where those of the study file hold
    expected_lag_s: float | None = None
    max_lag_s: float | None = None
    sign: int | None = None  # of the reference
    wearable_sign: int | None = None  # of a ready-made angle
    by_hand: ByHand | None = None  # decisions that stand over this row and what would be found
    # of a recording that is read in stretches, the part whose cycles count in this one
    stretch: Interval | None = None

    @property
    def identity(self) -> tuple[str, str, str, str, str]:
        """What tells this trial from the others."""
        return (self.participant, self.session, self.condition, self.trial, self.side)

    @property
    def label(self) -> str:
        """The recording's name in messages, page headings and decisions."""
        parts = [self.participant, self.condition]
        parts += [f"session {self.session}"] if self.session else []
        parts += [f"trial {self.trial}"] if self.trial else []
        return " ".join(part for part in [*parts, self.side] if part)


def row_of_all(rows: Sequence[Trial]) -> Trial:
    """Return the row that stands for one recording as several instruments have it.

    The first of those that are analysed; where none is, one that somebody took out.
    """
    analysed = [row for row in rows if not row.exclude]
    return next(iter((*analysed, *(row for row in rows if row.by_hand is not None), *rows)))


@dataclass(frozen=True, slots=True)
class Needs:
    """What the settings ask of the table."""

    static: bool  # neutral standing for every trial that is analysed
    reference: bool  # whether there is a [reference] section to read the files by
    events: bool  # a file of event times for every trial that is analysed
    files: SensorFilePatterns | None = None  # how the two sensors' files are called
    kind: str = "angle"  # of the wearable
    synchronisation: str = "cross-correlation"  # the method
    planned: bool = False  # nothing is recorded yet: files, times and rows may be missing
    seen: Header | None = None  # how one of several wearables or references sees the columns

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns that must be there."""
        if self.files is None:
            return REQUIRED
        return tuple(dict.fromkeys(("participant", *self.files.placeholders)))
