"""A step of the lag in words: which of the two files is at fault, as far as anything tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, Self

import numpy as np

from twinangle.clocks.band import BandLimited
from twinangle.clocks.search import period, prepare
from twinangle.clocks.steps import LagStep, find_step
from twinangle.errors import SynchronisationError
from twinangle.notices import Gravity, Notice
from twinangle.signals.recording import AngleRecording, Interval, Synchronisation
from twinangle.signals.timing import LEAST_GAP_S, Breaks

Side = Literal["wearable", "reference"]
UNDECIDED = (
    "These two files alone do not tell which: change neither unless something else does (a third "
    "instrument, the recorder's own log)."
)
# Our own choices.
_ASIDE_S = 0.5  # so far from the step the parts offered end and begin, and gaps are looked for
_HALF_A_STRIDE = (0.42, 0.58)  # strides by which the two sides follow each other in walking
_LONG_STRIDE_S = 1.6
_ONE_SAMPLE_S = 0.05  # a gap that is farther from a step than this lost samples at any rate
_BY_CHANCE = 0.2  # gaps expected at a place by chance, up to which one there tells something


@dataclass(frozen=True, slots=True)
class Gap:
    """A gap in a file's times, on its own clock."""

    start_s: float
    end_s: float
    usual_s: float = float("nan")  # from one sample to the next in the file; NaN: not known

    @property
    def length_s(self) -> float:
        """From the last sample before it to the first behind."""
        return self.end_s - self.start_s

    def by_stamps(self, breaks: Breaks) -> Gap:
        """Return the gap with its ends as they stand in the file, if it is one of the file's."""
        for one in breaks.stamps:
            if max(abs(one.start_s - self.start_s), abs(one.end_s - self.end_s)) < LEAST_GAP_S / 2:
                return Gap(one.start_s, one.end_s, breaks.usual_s)
        return self


@dataclass(frozen=True, slots=True)
class Fault:
    """Which of the two files is at fault, and the sentence that says by what it is known."""

    side: Side
    why: str


@dataclass(frozen=True, slots=True)
class Stepped:
    """A step of the lag between two files, and the gap that either has there.

    Parameters
    ----------
    step : LagStep
        Where and by how much.
    sources : tuple of str
        The wearable's file and the reference's.
    gaps : tuple of Gap or None
        The longest gap of each at the step; None where there is none, or so many elsewhere that
        one lies there by chance.
    clearest : tuple of LagStep and str, optional
        The same step as another pair shows it that tells its size better, and the file that the
        file at fault is paired with there; its size is told.
    """

    step: LagStep
    sources: tuple[str, str]
    gaps: tuple[Gap | None, Gap | None] = (None, None)
    clearest: tuple[LagStep, str] | None = None

    @classmethod
    def between(cls, step: LagStep, wearable: BandLimited, reference: BandLimited) -> Stepped:
        """Return the step with the gaps that the two have there."""
        gaps = (
            _gap_within(wearable, *_own_span(step, "wearable")),
            _gap_within(reference, *_own_span(step, "reference")),
        )
        return cls(step, (wearable.source, reference.source), gaps)

    def beside(self, left_out: Sequence[Interval]) -> Stepped:
        """Return the step without gaps of the wearable that a row of the trials table makes."""
        gap = self.gaps[0]
        made = gap is not None and any(
            one.start_s < gap.end_s and one.end_s > gap.start_s for one in left_out
        )
        return replace(self, gaps=(None, self.gaps[1])) if made else self

    def by_stamps(self, breaks: tuple[Breaks, Breaks]) -> Stepped:
        """Return the step with its gaps as they stand in the two files.

        Parameters
        ----------
        breaks : (Breaks, Breaks)
            The wearable's and the reference's.
        """
        worn, reference = (
            gap and gap.by_stamps(known) for gap, known in zip(self.gaps, breaks, strict=True)
        )
        return replace(self, gaps=(worn, reference))

    def fault(self) -> Fault | None:
        """Return which file a gap in its times gives away; None where neither or both have one.

        A file whose clock runs ahead behind the step can owe that to a gap only if the gap is as
        long as the step.
        """
        fitting: list[Fault] = []
        sides: tuple[Side, Side] = ("wearable", "reference")
        for side, other in (sides, sides[::-1]):
            gap = self._gap(side)
            if gap is None:
                continue
            why = (
                f"{self._source(side)} has a gap of {gap.length_s:.2f} s in its times there "
                f"({gap.start_s:.2f} to {gap.end_s:.2f} s on its own clock) and "
                f"{self._source(other)} has none: most likely its clock was set anew there, as by "
                "a restart."
            )
            fitting.append(Fault(side, why))
        return fitting[0] if len(fitting) == 1 and None in self.gaps else None

    def told(self, fault: Fault | None = None, *, weigh_gaps: bool = True) -> str:
        """Say where the lag steps and by how much, who is at fault if that is known, and the mend.

        What the reference loses makes the lag larger behind it, as does what the wearable repeats.

        Parameters
        ----------
        fault : Fault, optional
            What is known from elsewhere; without it, what a gap in one of the files says.
        weigh_gaps : bool
            False where what is known from elsewhere speaks for both files.
        """
        by_gap = self.fault() if weigh_gaps else None
        if fault and by_gap and fault.side == by_gap.side:
            fault = Fault(fault.side, f"{by_gap.why} {fault.why}")
        fault = fault or by_gap
        step = self.step
        lag = (
            f"the lag is {step.before_s:+.3f} s before and {step.after_s:+.3f} s behind, and no "
            "one clock fits both"
        )
        parts = (
            "analyse the parts as two rows of the trials table, both with this trial's files: one "
            f"with `end_s` = {step.first_s - _ASIDE_S:.1f}, the other, under another `trial`, with "
            f"`start_s` = {step.last_s + _ASIDE_S:.1f} (on the wearable's clock)."
        )
        if fault is not None:
            mend = self._mend(fault.side)
            source = self._source(fault.side)
            size = f"{self._leap(fault.side) or self._size} s"
            happened = f"{source} seems to have {self._happened(fault.side, size)}"
            return f"{happened}: {lag}. {self.half_a_stride()}{fault.why} {mend}; or {parts}"
        first: Side = "reference" if step.size_s > 0 else "wearable"
        other: Side = "wearable" if first == "reference" else "reference"
        size = f"{self._size} s"
        return (
            f"{' and '.join(self.sources)}: the lag between them steps by "
            f"{self._size} s{self._how_sure}; {lag}. {self.half_a_stride()}Either "
            f"{self._source(first)} {self._happened(first, size)}, or "
            f"{self._source(other)} {self._happened(other, size)}. {self._without_gap()}"
            f"{UNDECIDED} Right in either case: {parts}"
        )

    @property
    def _sized(self) -> LagStep:
        """Return the step whose size is told."""
        return self.step if self.clearest is None else self.clearest[0]

    @property
    def _size(self) -> str:
        """Return the size by the lags to be told, without its unit."""
        return f"{abs(self._sized.size_s):.3f}"

    @property
    def _how_sure(self) -> str:
        """Say within what the size is known, and by which pair if by another."""
        error_s, pair = self._sized.size_se_s, "" if self.clearest is None else self.clearest[1]
        of = f"by the pair with {pair}, which tells it best" if pair else ""
        within = f"± {error_s:.3f} s" if np.isfinite(error_s) else ""
        known = ", ".join(text for text in (within, of) if text)
        return f" ({known})" if known else ""

    def _leap(self, side: Side) -> str:
        """Return the size as the gap tells it, where the lags say that no sample is missing.

        The times of a file are finer than any lag. Empty where samples are missing, or there is no
        gap in the times as they stand in the file.
        """
        gap, known = self._gap(side), self._sized
        if gap is None or not np.isfinite(gap.usual_s) or not self._gained(side):
            return ""
        error_s = known.size_se_s if np.isfinite(known.size_se_s) else np.inf
        within_s = float(np.clip(2 * error_s, gap.usual_s, _ONE_SAMPLE_S))
        leap_s = gap.length_s - gap.usual_s
        return f"{leap_s:.4f}" if abs(leap_s - abs(known.size_s)) <= within_s else ""

    def half_a_stride(self) -> str:
        """Say that left and right may be exchanged, where the step is as long as that gives.

        Standing and squats are the same on both sides, while in walking one side follows the other
        by half a stride.
        """
        period_s = self.step.stride_s
        # Strides that differ in turn repeat every second time: so long a period may be two.
        likely = (period_s, 0.5 * period_s) if period_s > _LONG_STRIDE_S else (period_s,)
        low, high = _HALF_A_STRIDE
        fitting = [one for one in likely if low < abs(self.step.size_s) / one < high]
        if not fitting:
            return ""
        return (
            f"The step is half a stride (of {fitting[0]:.2f} s), by which one side follows the "
            "other in walking: see first whether left and right were exchanged, by giving this row "
            "the other side's file: the step is gone then. If they were, no mend of a clock helps, "
            "and the numbers would be of two legs. If they were not: "
        )

    def _without_gap(self) -> str:
        if self.gaps == (None, None):
            return "Neither has a gap there. "
        return "" if None in self.gaps else "Both have a gap there. "

    def _happened(self, side: Side, size: str) -> str:
        """Say what the file went through if it is at fault."""
        first, last = _own_span(self.step, side)
        at = self.step.time_s - _shift(self.step, side)
        where = f"at about {at:.1f} s on its own clock (between {first:.1f} and {last:.1f} s)"
        if self._gap(side) is not None:
            return (
                f"had its clock set {'ahead' if self._gained(side) else 'back'} by {size} {where}"
            )
        if self._gained(side):
            return f"repeated {size} of samples, or had its clock set ahead by as much, {where}"
        return f"lost {size} of samples {where}"

    def _mend(self, side: Side) -> str:
        """Return how the file at fault is mended."""
        size, gap = f"{self._size}{self._how_sure}", self._gap(side)
        begin = "there" if gap is None else f"{gap.end_s:.2f} s"
        if not self._gained(side):
            left = "which leaves a gap" if gap is None else "which makes the gap longer"
            return f"Mend the file: add {size} to its times from {begin} on, {left}"
        leap = self._leap(side)
        if leap:
            return (
                f"Mend the file: take {leap} from its times from {begin} on (the gap in them less "
                "the usual time between two samples, for by the lags none is missing)"
            )
        first = "leave out what it repeats, if it does, and " if gap is None else ""
        return f"Mend the file: {first}take {size} from its times from {begin} on"

    def _gained(self, side: Side) -> bool:
        """Whether the file's times run ahead behind the step, if it is at fault."""
        return (self.step.size_s > 0) == (side == "wearable")

    def _source(self, side: Side) -> str:
        return self.sources[0] if side == "wearable" else self.sources[1]

    def _gap(self, side: Side) -> Gap | None:
        """Return the file's gap there, if it can explain the step."""
        gap = self.gaps[0] if side == "wearable" else self.gaps[1]
        least = abs(self.step.size_s) - 0.05  # the samples' spacing and the step's own error
        return None if gap and self._gained(side) and gap.length_s < least else gap


class StepTold(str):
    """What is told of a step of the lag; it knows the step, until it is pickled.

    Parameters
    ----------
    found : Stepped
        The step.
    before : str
        Sentences that come first.
    fault : Fault, optional
        See :meth:`Stepped.told`, as for `weigh_gaps`.
    """

    found: Stepped
    before: str

    def __new__(
        cls,
        found: Stepped,
        before: str = "",
        fault: Fault | None = None,
        *,
        weigh_gaps: bool = True,
    ) -> StepTold:
        """Return the text with its step."""
        new = super().__new__(cls, before + found.told(fault, weigh_gaps=weigh_gaps))
        new.found, new.before = found, before
        return new

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        """Return what a copy in another process is made of: the plain text."""
        return str, (str(self),)


class StepWarned(Notice):
    """A warning that the lag steps; it knows the step, until it is pickled.

    Parameters
    ----------
    text : str
        The warning, `undecided` within it.
    found : Stepped
        The step.
    undecided : str
        The words that say that nothing tells which of the two files is at fault.
    """

    found: Stepped
    undecided: str

    def __new__(cls, text: str, found: Stepped, undecided: str = UNDECIDED) -> Self:
        """Return the text with its step."""
        new = super().__new__(cls, text, "clock-step", "grave", abs(found.step.size_s))
        new.found, new.undecided = found, undecided
        return new

    def __reduce__(self) -> tuple[type[Notice], tuple[str, str, Gravity, float]]:
        """Return what a copy in another process is made of: the plain warning."""
        return Notice, (str(self), self.kind, self.gravity, self.size)

    def followed_by(self, more: str) -> StepWarned:
        """Return the warning with more said behind it."""
        return StepWarned(f"{self} {more}", self.found, self.undecided)

    def decided(self, fault: Fault | None) -> Notice:
        """Return the warning with the file that is known to be at fault, if one is."""
        if fault is None:
            return self
        source = self.found.sources[fault.side == "reference"]
        known = f"At fault is {source}. {fault.why}"
        return Notice(self.replace(self.undecided, known), self.kind, self.gravity, self.size)


def as_told(step: LagStep | None, wearable: BandLimited, reference: BandLimited) -> str:
    """Return what is told of a step between two angles; empty without one."""
    return "" if step is None else StepTold(Stepped.between(step, wearable, reference))


def lost_samples(
    wearable: AngleRecording, reference: AngleRecording, clock: Synchronisation
) -> str:
    """Say where the lag of two recordings steps on a clock that was not found from their angles.

    As where one of them lost samples. Empty where it does not, or where the angles are too short or
    too still to tell.

    Parameters
    ----------
    wearable, reference : AngleRecording
        Each on its own clock.
    clock : Synchronisation
        How the reference's clock lies on the wearable's.

    Returns
    -------
    str
    """
    try:
        a, b, _ = prepare(wearable, reference)
    except SynchronisationError:
        return ""
    middle = np.array([0.5 * (b.start_s + b.end_s)])
    lag_s = float((clock.to_wearable(middle) - middle)[0])
    step = find_step(a, b, lag_s, stride_s=period(b.values, b.rate_hz))
    return as_told(step, a, b)


def _shift(step: LagStep, side: Side) -> float:
    """Return what is taken from the wearable's time of the step for a file's own."""
    return step.before_s if side == "reference" else 0.0


def _own_span(step: LagStep, side: Side) -> tuple[float, float]:
    shift = _shift(step, side)
    return step.first_s - shift, step.last_s - shift


def _gap_within(recording: BandLimited, first_s: float, last_s: float) -> Gap | None:
    """Return the longest gap about a span of a file's own clock, if few others are as long."""
    first, last = first_s - _ASIDE_S, last_s + _ASIDE_S
    gaps = gaps_of(recording)
    near = [gap for gap in gaps if gap.end_s >= first and gap.start_s <= last]
    longest = max(near, key=lambda gap: gap.length_s, default=None)
    if longest is None:
        return None
    elsewhere = sum(gap.length_s >= longest.length_s for gap in gaps if gap not in near)
    share = (last - first) / max(recording.end_s - recording.start_s, 1e-9)
    return longest if elsewhere * share <= _BY_CHANCE else None


def gaps_of(recording: BandLimited) -> Sequence[Gap]:
    """Return the gaps of 0.1 s and more between the samples of a recording."""
    known = np.flatnonzero(np.isfinite(recording.values))
    ends = np.flatnonzero(np.diff(known) > max(LEAST_GAP_S * recording.rate_hz, 1.5))
    return [Gap(*(recording.start_s + known[k : k + 2] / recording.rate_hz).tolist()) for k in ends]
