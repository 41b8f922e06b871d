"""The joints that can be studied: one value each, and the only place that knows their names.

A joint is what two segments and the way flexion turns make of it. Everything else (procedures,
cycles, agreement, report) takes what it needs from here, so that a further hinge-like joint is one
more value in `JOINTS`.
"""

from __future__ import annotations

from dataclasses import dataclass

SEGMENTS = ("proximal", "distal")  # as the study file calls them


@dataclass(frozen=True, slots=True)
class Segment:
    """One of the two segments that meet in a joint.

    Parameters
    ----------
    name : str
        As a sentence has it: "upper arm".
    words : tuple of str
        How channels and files call it, in lower case.
    """

    name: str
    words: tuple[str, ...]

    @property
    def camel(self) -> str:
        """The name as Motion-BIDS spells a tracked point: "upperArm"."""
        first, *others = self.name.split()
        return first + "".join(word.capitalize() for word in others)


@dataclass(frozen=True, slots=True)
class Joint:
    """A hinge-like joint between two segments.

    Parameters
    ----------
    name : str
        As the study file has it.
    movement : str
        What a positive angle is called: "flexion".
    proximal, distal : Segment
        The segment nearer the trunk, and the other.
    forwards : int
        The way the distal segment's far end turns with a positive angle, in somebody who stands
        upright: -1 backwards, as the shank in knee flexion; 1 forwards, as the forearm in elbow
        flexion.
    movement_studied : str
        What its cycles most often are: "walking", or "exercise" for repetitions of any other kind.
    neutral_posture : str
        How somebody stands whose joint is neutral, after "stand still".
    """

    name: str
    movement: str
    proximal: Segment
    distal: Segment
    forwards: int
    movement_studied: str = "walking"
    neutral_posture: str = "upright, at ease, the joint straight"

    @property
    def label(self) -> str:
        """What the angle is, at the start of a sentence: "Knee flexion"."""
        return f"{self.name.capitalize()} {self.movement}"

    @property
    def segments(self) -> dict[str, Segment]:
        """The two segments under the names that the study file gives them."""
        return dict(zip(SEGMENTS, (self.proximal, self.distal), strict=True))

    def tracked(self, segment: str, side: str) -> str:
        """Return a segment's name with its side in one word, such as "leftThigh"."""
        part = self.segments[segment].camel
        return side + part[0].upper() + part[1:] if side else part


JOINTS = {
    joint.name: joint
    for joint in (
        Joint(
            name="knee",
            movement="flexion",
            proximal=Segment("thigh", ("thigh", "femur", "upper leg", "upperleg")),
            distal=Segment("shank", ("shank", "tibia", "shin", "calf", "lower leg", "lowerleg")),
            forwards=-1,
            neutral_posture="upright, knees straight, feet hip-wide, weight on both, eyes ahead",
        ),
        Joint(
            name="elbow",
            movement="flexion",
            proximal=Segment("upper arm", ("upper arm", "upperarm", "humerus", "arm")),
            distal=Segment(
                "forearm", ("forearm", "fore arm", "lower arm", "lowerarm", "radius", "ulna")
            ),
            forwards=1,
            neutral_posture="upright, the arm hanging straight beside the body, palm towards it",
            movement_studied="exercise",
        ),
    )
}


def joint_named(name: str) -> Joint:
    """Return the joint of that name.

    Parameters
    ----------
    name : str
        As the study file has it, such as "knee".

    Returns
    -------
    Joint

    Raises
    ------
    ValueError
        Naming the joints there are.
    """
    if name not in JOINTS:
        raise ValueError(f"`joint` must be one of {', '.join(JOINTS)}, got {name!r}.")
    return JOINTS[name]


def joint_of(segments: str) -> str:
    """Return the joint whose segments or name a text speaks of most, the first where none.

    Parameters
    ----------
    segments : str
        Names of channels and files.
    """
    text = segments.lower()

    def mentions(joint: Joint) -> int:
        words = (joint.name, *joint.proximal.words, *joint.distal.words)
        return sum(text.count(word) for word in words)

    return max(JOINTS.values(), key=mentions).name
