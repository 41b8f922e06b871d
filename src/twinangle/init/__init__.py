"""From a folder of recordings to a first study file: what was recognised, and what was not.

Names are read, values are not: a channel's role is taken from its name, or from what the file
itself says of it, a file's place in the study from its path. What names do not tell (units, when
the person stood still) is left open in the proposal with a question mark, which the study reader
refuses until it is filled in.
"""

from __future__ import annotations

from twinangle.init.folder import StudyProposal, propose_study, write_proposal
from twinangle.init.sections import as_wearable, suggest_section

__all__ = [
    "StudyProposal",
    "as_wearable",
    "propose_study",
    "suggest_section",
    "write_proposal",
]
