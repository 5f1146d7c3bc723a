"""Microphones: the perspectives a section can be heard through, and where each microphone hangs.

Array sizes are common practice, no source; every dimension can be changed in the scene.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin, sqrt
from typing import Annotated

from pydantic import Field

from seatwright.stage.arrays import (
    ARRAYS,
    PATTERNS,
    ArrayName,
    Pair,
    Pattern,
    decoded_pair,
    upwards,
)
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

CENTRE_GAIN_DB = -12.0
"""Of the centre, which leads by more than a millisecond: at -3 dB, usual where a tree is mixed by
hand, it would draw every seat within 50 degrees to the middle (see `acoustics.localisation`)."""


FORWARD = 1.5
"""Metres the centre of the array of three stands ahead."""

Aim = Annotated[float, Field(ge=-180.0, le=180.0)]
Tilt = Annotated[float, Field(ge=-90.0, le=90.0)]


class Tree(Description):
    """The main microphones over and behind the podium: three, or a pair."""

    array: ArrayName = "three"
    """three: left, right and a centre further forward. A pair: ab (spaced omnis), ortf, nos, din
    (near-coincident cardioids), xy (coincident cardioids), blumlein (crossed figure-eights) or
    mid-side (decoded to left and right). The keys below change what the array starts from."""
    width: Annotated[float, Field(ge=0.0, le=1000.0)] | None = None
    """Left to right in metres; three 2, ab 0.5, ortf 0.17, nos 0.3, din 0.2, the others 0."""
    forward: Annotated[float, Field(ge=0.0, le=10.0)] | None = None
    """Of three: metres the centre stands ahead of the left-right line, towards the orchestra;
    1.5 by default."""
    y: Metres = -1.0
    """Metres upstage of the podium of the left-right line; negative is towards the audience."""
    height: Length | None = None
    """Metres above the stage floor; 3.2 where the ceiling allows."""
    pattern: Pattern | None = None
    """three and ab omni, blumlein figure-eight, the others cardioid; of mid-side the mid's."""
    aim: Aim | None = None
    """Degrees left and right are each turned outwards from straight upstage, half the angle
    between them; three and ab 0, ortf 55, nos, din, xy and blumlein 45."""
    tilt: Tilt = 0.0
    """Degrees the microphones look up; negative is down."""
    centre: Decibels | None = None
    """Of three: level of the centre microphone in dB, sent equally to left and right; -12 by
    default."""
    side: Decibels | None = None
    """Of mid-side: level of the side microphone against the mid in dB, 0 by default; more is
    wider."""

    @property
    def heard_pattern(self) -> Pattern:
        return self.pattern or ARRAYS[self.array].pattern

    @property
    def pair(self) -> Pair:
        """Left and right as they are mixed."""
        if self.array == "mid-side":
            return decoded_pair(self.heard_pattern, self.side or 0.0, self.tilt)
        start = ARRAYS[self.array]
        width = start.width if self.width is None else self.width
        aim = start.aim if self.aim is None else self.aim
        return Pair(width, aim, self.tilt, PATTERNS[self.heard_pattern])


class Outriggers(Description):
    """Two microphones far left and right on the tree's line."""

    width: Length | None = None
    """Left to right in metres; 8 where the hall is wide enough."""
    y: Metres | None = None
    """Metres upstage of the podium; the tree's line by default."""
    height: Length | None = None
    """Metres above the stage floor; the tree's height by default."""
    pattern: Pattern = "omni"
    aim: Aim = 0.0
    """Degrees each is turned outwards from straight upstage."""
    tilt: Tilt = 0.0
    """Degrees they look up; negative is down."""


class Ambient(Description):
    """Two microphones out in the hall, high up."""

    width: Length | None = None
    """Left to right in metres; 6 where the hall is wide enough."""
    distance: Length | None = None
    """Metres from the podium towards the audience; 10 where the hall is deep enough."""
    height: Length | None = None
    """Metres above the stage floor; 5 where the ceiling allows."""
    pattern: Pattern = "omni"
    aim: Aim = 0.0
    """Degrees each is turned outwards from straight upstage; 180 looks away from the stage."""
    tilt: Tilt = 0.0
    """Degrees they look up; negative is down."""


class Close(Description):
    """One microphone at each seat, between the instrument and the podium."""

    distance: Annotated[float, Field(ge=0.3, le=5.0)] = 1.0
    """Metres from the instrument."""
    height: Annotated[float, Field(ge=-2.0, le=5.0)] = 0.5
    """Metres above the instrument."""
    pattern: Pattern = "cardioid"
    spill: Decibels | None = None
    """How strongly each close microphone also hears the other placed seats, in dB: 0 as strongly
    as it would; left out: not at all."""


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


def _pair(name: str, pair: Pair, y: float, height: float) -> tuple[Microphone, Microphone]:
    left, right = pair.aims
    half, share = pair.width / 2.0, pair.omni_share
    return (
        Microphone(f"{name}.left", name, (0.0 - half, y, height), share, left, LEFT),
        Microphone(f"{name}.right", name, (half, y, height), share, right, RIGHT),
    )


def _tree_height(microphones: Microphones, hall: Hall) -> float:
    return microphones.tree.height or min(3.2, 0.7 * hall.size.height)


def _tree(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    tree = microphones.tree
    height = _tree_height(microphones, hall)
    left, right = _pair("tree", tree.pair, tree.y, height)
    if tree.array != "three":
        return (left, right)
    gain = 10.0 ** ((CENTRE_GAIN_DB if tree.centre is None else tree.centre) / 20.0)
    forward = FORWARD if tree.forward is None else tree.forward
    centre = Microphone(
        "tree.centre",
        "tree",
        (0.0, tree.y + forward, height),
        tree.pair.omni_share,
        upwards(tree.tilt),
        (gain, gain),
    )
    return (left, centre, right)


def _outriggers(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    array = microphones.outriggers
    width = array.width or min(8.0, 0.6 * hall.size.width)
    y = microphones.tree.y if array.y is None else array.y
    pair = Pair(width, array.aim, array.tilt, PATTERNS[array.pattern])
    return _pair("outriggers", pair, y, array.height or _tree_height(microphones, hall))


def _ambient(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    array = microphones.ambient
    behind = hall.size.depth - hall.podium_depth
    distance = array.distance or min(10.0, 0.7 * behind)
    width = array.width or min(6.0, 0.5 * hall.size.width)
    height = array.height or min(5.0, 0.7 * hall.size.height)
    pair = Pair(width, array.aim, array.tilt, PATTERNS[array.pattern])
    return _pair("ambient", pair, -distance, height)


def hall_microphones(microphones: Microphones, hall: Hall) -> tuple[Microphone, ...]:
    """Every microphone that stands in the hall for all seats: tree, outriggers, ambient.

    Parameters
    ----------
    microphones : Microphones
    hall : Hall
        Its size limits the default widths, heights and distances.

    Returns
    -------
    tuple of Microphone, shape (7,) or (6,)
        tree left, centre (of the array of three alone), right; outriggers left, right; ambient
        left, right.
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
        `close.distance` metres away. For a seat nearer to the podium than that it stands beyond
        the podium.
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
