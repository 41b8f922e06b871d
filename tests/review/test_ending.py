"""The command clears up and ends well, whenever it is asked to."""

import logging

import pytest

from twinangle.platform_calls import Stopped
from twinangle.review.server import _clear_up, quiet_once


@pytest.mark.parametrize("asked", [Stopped(2), KeyboardInterrupt()])
def test_a_signal_while_clearing_up_does_not_break_it_off(asked):
    calls = []

    class Busy:
        def end(self):
            calls.append(None)
            if len(calls) == 1:
                raise asked

    _clear_up(Busy())
    assert len(calls) == 2


def test_requests_broken_off_at_the_end_are_not_told(caplog):
    """The server logs them as faults with a traceback; while it runs its faults are told."""
    log, ended = logging.getLogger("uvicorn.error"), []
    with quiet_once(lambda: bool(ended)):
        log.error("a fault")
        ended.append(True)
        log.error("Exception in ASGI application")
    log.error("another one")
    assert [record.message for record in caplog.records] == ["a fault", "another one"]
