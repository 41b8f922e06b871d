"""The session sheet: how a study is recorded, from its own settings, to be written on by hand."""

from __future__ import annotations

from twinangle.protocol.session_sheet import SessionSheet, session_sheet
from twinangle.protocol.sheet_files import as_markdown, write_sheet

__all__ = ["SessionSheet", "as_markdown", "session_sheet", "write_sheet"]


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
