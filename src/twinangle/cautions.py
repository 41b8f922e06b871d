"""What is said of people's safety, in one place: help, report and methods text take it from here.

Common practice in movement laboratories, no source; a clinician's word and local rules come first.
"""

from __future__ import annotations

RESEARCH = (
    "For research only: not for diagnosis or treatment decisions. Recordings of people need "
    "ethics approval and consent; name participants by code only."
)
MOVEMENTS = (
    "A jump, stamp or heel tap that synchronises, and the functional movement, load the joint. Ask "
    "nobody for them after recent surgery, with pain, swelling or an unstable joint, or at risk of "
    "falling, without the word of the clinician in charge; a trigger, one clock, or a heel tap "
    "while seated may stand in for the jump, a small movement with a hand on a rail for the full "
    "one. Somebody stands by, and the participant may stop at any time."
)
STRAPS = (
    "Straps and tape: firm, never so tight that skin changes colour or feels numb; not on wounds, "
    "scars or irritated skin; ask about allergies to tape, glue and latex; look at the skin "
    "afterwards, and clean whatever touched it before the next participant."
)
ROUTE = (
    "Outdoors: a safe route, and somebody beside participants who may fall; ethics approval, "
    "informed consent and local rules come first."
)
RULES = (
    "Local rules, the ethics approval and the licensed clinician in charge come before anything "
    "here."
)
RECORDING = (
    f"Before people are recorded: {MOVEMENTS} {STRAPS} {ROUTE} More: docs/how-to/recording.md."
)
RECORDING_SHORT = (
    "Before people are recorded: ask nobody for a jump, stamp, heel tap or functional movement "
    "after recent surgery, with pain or at risk of falling, without the word of the clinician in "
    "charge; look at the skin under straps. More: docs/how-to/recording.md."
)


def to_be_stated(movements: tuple[str, ...]) -> str:
    """Return what the authors have to add to a methods section, in brackets: nobody recorded it.

    Parameters
    ----------
    movements : tuple of str
        The movements asked for beside walking, such as "the functional movement"; may be empty.
    """
    asked = f"who was spared {' and '.join(movements)} (recent surgery, pain, risk of falling), "
    return (
        f"[To be stated by the authors: {asked if movements else ''}how participants were secured "
        "against falling, and how straps were placed and the skin was checked.]"
    )
