"""What became of each recording of a run: a line of JSON as it is done, and how many were kept."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from twinangle.errors import StudyError
from twinangle.wording import count

if TYPE_CHECKING:
    from twinangle.recordings_of_run import RecordingDone


def log_line(one: RecordingDone, at: datetime) -> str:
    """Return the line of one recording.

    Parameters
    ----------
    one : RecordingDone
        What became of it.
    at : datetime
        When it was done.

    Returns
    -------
    str
        A JSON object: `time` (UTC), what names the recording, `status` and `reason` by procedure,
        `seconds` that analysis and figures took when they were last made, `kept` (taken from an
        earlier run), and the `warnings`.
    """
    trial = one.trial
    names = ("participant", "session", "condition", "trial", "side")
    warnings = dict.fromkeys(str(text) for result in one.results for text in result.warnings)
    line = {
        "time": at.astimezone(UTC).isoformat(timespec="seconds"),
        **{name: getattr(trial, name) for name in names},
        "status": {result.procedure: result.status for result in one.results},
        "reason": {result.procedure: result.reason for result in one.results if result.reason},
        "seconds": round(one.seconds, 3),
        "kept": one.kept,
        "warnings": list(warnings),
    }
    return json.dumps(line, ensure_ascii=False)


@contextmanager
def run_log(path: Path | None) -> Iterator[Callable[[RecordingDone], None] | None]:
    """Open a log for a run; lines of an earlier one stay before it.

    Raises
    ------
    StudyError
        If the file cannot be written.
    """
    if path is None:
        yield None
        return
    try:
        stream = path.open("a", encoding="utf-8", newline="\n")
    except OSError as error:
        raise StudyError(f"--log {path}: cannot be written: {error.strerror}.") from None
    with stream:

        def write(one: RecordingDone) -> None:
            try:
                stream.write(log_line(one, datetime.now(UTC)) + "\n")
                stream.flush()
            except OSError as error:
                raise StudyError(f"--log {path}: cannot be written: {error.strerror}.") from None

        yield write


class Tally:
    """Counts the recordings of a run, those left out of it beforehand aside.

    Parameters
    ----------
    write : callable, optional
        Called with each, such as what :func:`run_log` gives.
    """

    def __init__(self, write: Callable[[RecordingDone], None] | None = None) -> None:
        self._write = write
        self._kept = self._made = 0

    def __call__(self, one: RecordingDone) -> None:
        """Take in one recording."""
        if any(result.status != "excluded" for result in one.results):
            self._kept += one.kept
            self._made += not one.kept
        if self._write is not None:
            self._write(one)

    @property
    def told(self) -> str:
        """How many recordings' results were kept, in words; empty where none were."""
        if not self._kept:
            return ""
        whole = count(self._kept + self._made, "recording")
        return f"{self._kept} of {whole} kept from earlier runs; {self._made or 'none'} analysed."
