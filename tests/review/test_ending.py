"""The command clears up and ends well, whenever it is asked to."""

import pytest

from twinangle.platform_calls import Stopped
from twinangle.review.server import _clear_up


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
