"""Whether a decision on times lies within the recording that it is about."""

from __future__ import annotations

from collections.abc import Mapping

from twinangle.review.look import Look
from twinangle.signals.recording import AngleRecording
from twinangle.study.decisions import Value

Span = tuple[float, float]


def beyond(look: Look, kind: str, value: Value | Mapping[str, object]) -> str:
    """Say why a lag or an interval cannot be meant; empty where it can, or nothing tells.

    Parameters
    ----------
    look : Look
        The recording as it was looked at.
    kind : str
        Of the decision.
    value : mapping
        Its value, checked.

    Returns
    -------
    str
    """
    numbers = {key: each for key, each in value.items() if isinstance(each, int | float)}
    if kind == "lag":
        return _lag(look, numbers["lag_s"], numbers.get("drift_ppm", 0.0))
    if kind == "interval":
        return _interval(look, numbers["start_s"], numbers["end_s"])
    return ""


def _lag(look: Look, lag_s: float, drift_ppm: float) -> str:
    if look.wearable is None or look.reference is None:
        return ""
    first, last = _span(look.wearable)
    scale = 1 + drift_ppm * 1e-6
    begin, end = (scale * time + lag_s for time in _span(look.reference))
    if begin < last and end > first:
        return ""
    begin, end = _span(look.reference)
    return (
        f"With a lag of {lag_s:g} s the reference, {begin:.1f} to {end:.1f} s on its own clock, "
        f"and the wearable, {first:.1f} to {last:.1f} s, have no moment in "
        f"common; accepted: a lag between {first - end:.1f} and {last - begin:.1f} s."
    )


def _interval(look: Look, start_s: float, end_s: float) -> str:
    seen = [_span(look.wearable)] if look.wearable is not None else []
    if look.turning is not None:
        turning = look.turning
        length_s = turning.rate_deg_s.size / turning.rate_hz
        seen.append((turning.start_s, turning.start_s + length_s))
    if not seen:
        return ""
    first, last = min(one for one, _ in seen), max(one for _, one in seen)
    if start_s < last and end_s > first:
        return ""
    return (
        f"{start_s:g} to {end_s:g} s lies outside the recording; accepted: a stretch "
        f"within {first:.1f} to {last:.1f} s."
    )


def _span(angle: AngleRecording) -> Span:
    return angle.start_s, angle.start_s + angle.angle_deg.size / angle.rate_hz
