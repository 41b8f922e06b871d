"""`[cycles] event`: which events of a recording cycles are cut by."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from twinangle.study.settings import CycleSettings


def test_an_event_belongs_to_the_method_events():
    assert (
        CycleSettings(method="events", event="Left initial contact").event == "Left initial contact"
    )
    with pytest.raises(ValidationError, match='only `method = "events"` takes'):
        CycleSettings(method="angle-peak", event="Left initial contact")
