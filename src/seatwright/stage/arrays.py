"""Arrays of main microphones: named starting points, where a pair looks, mid and side decoded.

Conventions: `aim` is how many degrees each microphone of a pair is turned outwards from straight
upstage (the left one to the left, the right one to the right), so the angle between the two is
twice that; 180 looks at the wall behind the audience, negative crosses the pair inwards. `tilt` is
how many degrees a microphone looks up, negative down. Outwards first, then up or down.

Source
------
R. Streicher, F. A. Everest, "The New Stereo Soundbook" (ORTF 17 cm and 110 degrees, NOS 30 cm and
90, DIN 20 cm and 90, XY, spaced omnis); A. D. Blumlein, British patent 394325 (1931: crossed
figure-eights, mid and side). Values from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Literal

Direction = tuple[float, float, float]

PATTERNS: dict[str, float] = {
    "omni": 1.0,
    "subcardioid": 0.7,
    "cardioid": 0.5,
    "hypercardioid": 0.25,
    "figure-eight": 0.0,
}
"""Share a of a first-order pattern a + (1 - a) cos(angle)."""

Pattern = Literal["omni", "subcardioid", "cardioid", "hypercardioid", "figure-eight"]

ArrayName = Literal["three", "ab", "ortf", "nos", "din", "xy", "blumlein", "mid-side"]


@dataclass(frozen=True)
class StartingPoint:
    """A named array as the literature has it; every dimension can be changed in the scene.

    Parameters
    ----------
    width : float
        Metres from left to right.
    aim : float
        Degrees each is turned outwards: half the angle between the two.
    pattern : str
        Key of `PATTERNS`; of the mid microphone for "mid-side".
    """

    width: float
    aim: float
    pattern: Pattern


ARRAYS: dict[ArrayName, StartingPoint] = {
    "three": StartingPoint(2.0, 0.0, "omni"),
    "ab": StartingPoint(0.5, 0.0, "omni"),
    "ortf": StartingPoint(0.17, 55.0, "cardioid"),
    "nos": StartingPoint(0.30, 45.0, "cardioid"),
    "din": StartingPoint(0.20, 45.0, "cardioid"),
    "xy": StartingPoint(0.0, 45.0, "cardioid"),
    "blumlein": StartingPoint(0.0, 45.0, "figure-eight"),
    "mid-side": StartingPoint(0.0, 0.0, "cardioid"),
}


@dataclass(frozen=True)
class Pair:
    """Two mirrored microphones.

    Parameters
    ----------
    width : float
        Metres.
    aim, tilt : float
        Degrees outwards and up.
    omni_share : float
        Share a of the pattern, 0 to 1.
    """

    width: float
    aim: float
    tilt: float
    omni_share: float

    @property
    def aims(self) -> tuple[Direction, Direction]:
        """Unit vectors of the left and the right microphone, mirrored bit for bit."""
        out, up = radians(self.aim), radians(self.tilt)
        right, ahead = sin(out) * cos(up), cos(out) * cos(up)
        return (0.0 - right, ahead, sin(up)), (right, ahead, sin(up))


def upwards(tilt: float) -> Direction:
    """Unit vector straight upstage, `tilt` degrees up."""
    return (0.0, cos(radians(tilt)), sin(radians(tilt)))


def decoded_pair(pattern: str, side_db: float, tilt: float) -> Pair:
    """The pair that a mid microphone and a sideways figure-eight in one place decode to.

    With the mid m = a + (1 - a) u.n ahead and the side s u.l to the left, left = m + s and
    right = m - s are first-order microphones themselves: a + u.((1 - a) n +- s l). They are scaled
    to 1 on their own axes, as every other microphone is.

    Parameters
    ----------
    pattern : str
        Of the mid microphone.
    side_db : float
        Level of the side against the mid.
    tilt : float
        Degrees both look up. The side's axis stays level, so the decoded pair is turned about it.

    Returns
    -------
    Pair
        Of width 0.
    """
    share, side = PATTERNS[pattern], 10.0 ** (side_db / 20.0)
    length = hypot(1.0 - share, side)
    ahead, up = (1.0 - share) * cos(radians(tilt)), (1.0 - share) * sin(radians(tilt))
    return Pair(
        width=0.0,
        aim=degrees(atan2(side, ahead)),
        tilt=degrees(atan2(up, hypot(ahead, side))),
        omni_share=share / (share + length),
    )
