"""Microphones: arrays of the right size on the right side, each inside its hall."""

from __future__ import annotations

from itertools import product
from math import cos, dist, hypot, isclose, radians, sin

import pytest

from seatwright.stage.hall import Hall, Size
from seatwright.stage.microphones import (
    PERSPECTIVES,
    Ambient,
    Close,
    Head,
    Microphone,
    Microphones,
    Outriggers,
    Tree,
    close_microphone,
    hall_microphones,
    listener,
)

HALL = Hall()


def by_name(microphones: Microphones, hall: Hall = HALL) -> dict[str, Microphone]:
    return {microphone.name: microphone for microphone in hall_microphones(microphones, hall)}


def test_tree_is_as_wide_and_forward_as_written() -> None:
    found = by_name(Microphones(tree=Tree(width=1.8, forward=1.2, y=-2, height=3)))
    assert found["tree.left"].position == (-0.9, -2, 3)
    assert found["tree.right"].position == (0.9, -2, 3)
    assert found["tree.centre"].position == (0, -0.8, 3)


def test_left_goes_left_and_the_centre_to_both_twelve_decibels_down() -> None:
    found = by_name(Microphones())
    for name in ("tree", "outriggers", "ambient"):
        assert found[f"{name}.left"].gains == (1, 0)
        assert found[f"{name}.right"].gains == (0, 1)
        assert found[f"{name}.left"].position[0] < 0 < found[f"{name}.right"].position[0]
    assert found["tree.centre"].gains == pytest.approx((10 ** (-12 / 20),) * 2, rel=1e-12)


def test_outriggers_follow_the_tree_unless_written() -> None:
    tree = Tree(y=-1.4, height=3.6)
    follow = by_name(Microphones(tree=tree))["outriggers.left"].position
    assert follow == (-4, -1.4, 3.6)
    own = Microphones(tree=tree, outriggers=Outriggers(width=9, y=0, height=3))
    assert by_name(own)["outriggers.left"].position == (-4.5, 0, 3)


def test_ambient_pair_hangs_in_the_hall() -> None:
    assert by_name(Microphones())["ambient.right"].position == (3, -10, 5)
    own = Microphones(ambient=Ambient(width=4, distance=12, height=6))
    assert by_name(own)["ambient.right"].position == (2, -12, 6)


@pytest.mark.parametrize(("width", "depth", "height"), list(product((6, 20), (9, 40), (3, 16))))
def test_defaults_stay_inside_halls_of_all_sizes(width: float, depth: float, height: float) -> None:
    hall = Hall(size=Size(width=width, depth=depth, height=height))
    for microphone in hall_microphones(Microphones(), hall):
        assert hall.outside(microphone.position) == "", microphone.name
    assert hall.outside(listener(Microphones(), hall).position) == ""


def test_patterns_are_first_order_shares() -> None:
    found = by_name(Microphones(tree=Tree(pattern="figure-eight"), ambient=Ambient(pattern="omni")))
    assert found["tree.left"].omni_share == 0
    assert found["ambient.left"].omni_share == 1
    assert {microphone.perspective for microphone in found.values()} < set(PERSPECTIVES)


CLOSE_POSITIONS = [(3.0, 4.0, 1.2), (-6.0, 2.0, 1.0), (0.0, 9.0, 1.5), (2.0, -3.0, 1.0)]


@pytest.mark.parametrize("position", CLOSE_POSITIONS)
@pytest.mark.parametrize("height", [-2.0, -0.2, 0.0, 0.5, 5.0])
def test_close_microphone_stands_towards_the_podium_and_looks_back(
    position: tuple[float, float, float], height: float
) -> None:
    microphone = close_microphone(Close(distance=0.8, height=height), position, (0.5, 0.8))
    assert dist(microphone.position, position) == pytest.approx(0.8, rel=1e-12)
    assert hypot(*microphone.position[:2]) < hypot(*position[:2])
    assert microphone.position[0] * position[1] == pytest.approx(
        microphone.position[1] * position[0], abs=1e-12
    )
    looks_at = [a + 0.8 * b for a, b in zip(microphone.position, microphone.aim, strict=True)]
    assert looks_at == pytest.approx(position, abs=1e-12)
    assert microphone.gains == (0.5, 0.8)


def test_close_microphone_rises_as_written() -> None:
    rise = close_microphone(Close(distance=1, height=0.5), (0, 5, 1), (1, 1)).position[2] - 1
    assert rise == pytest.approx(0.5)


@pytest.mark.parametrize("turned", [0, 30, -90])
def test_listener_faces_the_stage_and_turns_right(turned: float) -> None:
    ears = listener(Microphones(head=Head(x=2, y=-9, height=1.3, turned=turned)), HALL)
    assert ears.position == (2, -9, 1.3)
    assert ears.facing == pytest.approx((sin(radians(turned)), cos(radians(turned)), 0))
    assert isclose(hypot(*ears.facing), 1.0)
