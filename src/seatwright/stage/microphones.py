"""Microphones: the perspectives a section can be heard through, and where each microphone hangs.

Array sizes are common practice, no source; every dimension can be changed in the scene.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin, sqrt
from typing import Annotated, Literal

from pydantic import Field

from seatwright.stage.description import (
    Decibels,
    Degrees,
    Description,
    Length,
    Metres,
    StemName,
)
from seatwright.stage.hall import Hall

Position = tuple[float, float, float]

PERSPECTIVES = ("tree", "outriggers", "ambient", "close", "head")

PATTERNS: dict[str, float] = {
    "omni": 1.0,
    "subcardioid": 0.7,
    "cardioid": 0.5,
    "hypercardioid": 0.25,
    "figure-eight": 0.0,
}
"""Share a of a first-order pattern a + (1 - a) cos(angle)."""

Pattern = Literal["omni", "subcardioid", "cardioid", "hypercardioid", "figure-eight"]

CENTRE_GAIN_DB = -3.0


class Tree(Description):
    """Three microphones over and behind the podium: left, right and a centre further forward."""

    width: Length = 2.0
    """Left to right in metres."""
    forward: Annotated[float, Field(ge=0.0, le=10.0)] = 1.5
    """Metres the centre stands ahead of the left-right line, towards the orchestra."""
    y: Metres = -1.0
    """Metres upstage of the podium of the left-right line; negative is towards the audience."""
    height: Length | None = None
    """Metres above the stage floor; 3.2 where the ceiling allows."""
    pattern: Pattern = "omni"
    centre: Decibels = CENTRE_GAIN_DB
    """Level of the centre microphone in dB, sent equally to left and right."""


class Outriggers(Description):
    """Two microphones far left and right on the tree's line."""

    width: Length | None = None
    """Left to right in metres; 8 where the hall is wide enough."""
    y: Metres | None = None
    """Metres upstage of the podium; the tree's line by default."""
    height: Length | None = None
    """Metres above the stage floor; the tree's height by default."""
    pattern: Pattern = "omni"


class Ambient(Description):
    """Two microphones out in the hall, high up."""

    width: Length | None = None
    """Left to right in metres; 6 where the hall is wide enough."""
    distance: Length | None = None
    """Metres from the podium towards the audience; 10 where the hall is deep enough."""
    height: Length | None = None
    """Metres above the stage floor; 5 where the ceiling allows."""
    pattern: Pattern = "omni"


class Close(Description):
    """One microphone at each seat, between the instrument and the podium."""

    distance: Annotated[float, Field(ge=0.3, le=5.0)] = 1.0
    """Metres from the instrument."""
    height: Annotated[float, Field(ge=-2.0, le=5.0)] = 0.5
    """Metres above the instrument."""
    pattern: Pattern = "cardioid"


HEAD_MODELS = ("measured", "sphere")
"""Heads that need no file."""


class Head(Description):
    """A listener's head at a seat in the hall."""

    x: Metres = 0.0
    y: Metres | None = None
    """Metres upstage of the podium, so negative in the hall; -8 where the hall is deep enough."""
    height: Length = 1.2
    """Metres from the stage floor to the ears."""
    turned: Degrees = 0.0
    """Degrees the head is turned from straight upstage, positive to the right."""
    model: StemName = "measured"
    """Whose head: "measured" (a KEMAR dummy head), "sphere", or the path of a SOFA file (AES69)."""


class Microphones(Description):
    """All microphones of a scene; each key has a sound default."""

    tree: Tree = Tree()
    outriggers: Outriggers = Outriggers()
    ambient: Ambient = Ambient()
    close: Close = Close()
    head: Head = Head()


@dataclass(frozen=True)
class Microphone:
    """One microphone where it hangs.

    Parameters
    ----------
    name : str
        For example "tree.left".
    perspective : str
        One of `PERSPECTIVES`.
    position : tuple of float, shape (3,)
        Metres in the scene's frame.
    omni_share : float
        Share a of its pattern a + (1 - a) cos(angle), 0 to 1.
    aim : tuple of float, shape (3,)
        Unit vector it points along.
    gains : tuple of float, shape (2,)
        Linear gains into the left and right output.
    """

    name: str
    perspective: str
    position: Position
    omni_share: float
    aim: Position
    gains: tuple[float, float]


LEFT, RIGHT = (1.0, 0.0), (0.0, 1.0)
_UPSTAGE = (0.0, 1.0, 0.0)


def _pair(
    name: str, width: float, y: float, height: float, pattern: str
) -> tuple[Microphone, Microphone]:
    share = PATTERNS[pattern]
    return (
        Microphone(f"{name}.left", name, (-width / 2, y, height), share, _UPSTAGE, LEFT),
        Microphone(f"{name}.right", name, (width / 2, y, height), share, _UPSTAGE, RIGHT),
    )


def _tree_height(microphones: Microphones, hall: Hall) -> float:
    return microphones.tree.height or min(3.2, 0.7 * hall.size.height)


def _tree(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    tree = microphones.tree
    height = _tree_height(microphones, hall)
    gain = 10.0 ** (tree.centre / 20.0)
    centre = Microphone(
        "tree.centre",
        "tree",
        (0.0, tree.y + tree.forward, height),
        PATTERNS[tree.pattern],
        _UPSTAGE,
        (gain, gain),
    )
    left, right = _pair("tree", tree.width, tree.y, height, tree.pattern)
    return (left, centre, right)


def _outriggers(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    array = microphones.outriggers
    width = array.width or min(8.0, 0.6 * hall.size.width)
    y = microphones.tree.y if array.y is None else array.y
    return _pair(
        "outriggers", width, y, array.height or _tree_height(microphones, hall), array.pattern
    )


def _ambient(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    array = microphones.ambient
    behind = hall.size.depth - hall.podium_depth
    distance = array.distance or min(10.0, 0.7 * behind)
    width = array.width or min(6.0, 0.5 * hall.size.width)
    height = array.height or min(5.0, 0.7 * hall.size.height)
    return _pair("ambient", width, -distance, height, array.pattern)


def hall_microphones(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    """Every microphone that stands in the hall for all seats: tree, outriggers, ambient.

    Parameters
    ----------
    microphones : Microphones
    hall : Hall
        Its size limits the default widths, heights and distances.

    Returns
    -------
    tuple of Microphone, shape (7,)
        tree left, centre, right; outriggers left, right; ambient left, right.
    """
    return (
        *_tree(microphones, hall),
        *_outriggers(microphones, hall),
        *_ambient(microphones, hall),
    )


def close_microphone(
    close: Close, position: Position, gains: tuple[float, float], name: str = "close"
) -> Microphone:
    """The close microphone of a source: on the line to the podium, aimed at the instrument.

    Parameters
    ----------
    close : Close
    position : tuple of float, shape (3,)
        The source in metres.
    gains : tuple of float, shape (2,)
        Where it is panned: linear gains into left and right.

    Returns
    -------
    Microphone
        `close.distance` metres away, at most half way to the podium along the floor.
    """
    x, y, z = position
    ground = max(sqrt(x * x + y * y), 1e-6)
    steepest = 0.95 * close.distance
    rise = max(-steepest, min(close.height, steepest))
    along = sqrt(close.distance**2 - rise**2)
    spot = (x - along * x / ground, y - along * y / ground, z + rise)
    aim = tuple((a - b) / close.distance for a, b in zip(position, spot, strict=True))
    return Microphone(name, "close", spot, PATTERNS[close.pattern], (aim[0], aim[1], aim[2]), gains)


@dataclass(frozen=True)
class Ears:
    """The middle of a listener's head and the way it faces.

    Parameters
    ----------
    position : tuple of float, shape (3,)
        Metres.
    facing : tuple of float, shape (3,)
        Unit vector along the nose, horizontal.
    """

    position: Position
    facing: Position


def listener(microphones: Microphones, hall: Hall) -> Ears:
    """Where the listener of the head perspective sits and looks."""
    head = microphones.head
    behind = hall.size.depth - hall.podium_depth
    y = -min(8.0, 0.6 * behind) if head.y is None else head.y
    angle = radians(head.turned)
    return Ears((head.x, y, head.height), (sin(angle), cos(angle), 0.0))
