"""Small moves: not too far, not out of the section, the nearest first."""

from __future__ import annotations

from itertools import pairwise
from math import dist
from typing import Any

import pytest

from seatwright.stage.hall import Hall
from seatwright.stage.scene import Scene
from seatwright.stage.small_moves import (
    MOST_TURN,
    PODIUM_ROOM,
    SECTION_REACH,
    SmallMove,
    closer_moves,
    place_moves,
)


def stage(*mates: float, **more: Any) -> Scene:
    """A seat 4 m off at 10 degrees, and mates of its section."""
    own = {"stem": "a.wav", "section": "a", "bearing": 10.0, "distance": 4.0} | more
    place = {"stem": "b.wav", "section": "a", "distance": 6.0}
    others = {f"mate {number}": place | {"bearing": at} for number, at in enumerate(mates)}
    return Scene(hall=Hall(reverberation=1.0), seats={"own": own, **others})


def values(moves: list[SmallMove], key: str) -> list[float]:
    return [move.value for move in moves if move.key == key]


def test_a_seat_alone_turns_by_fifteen_degrees_at_most() -> None:
    scene = stage()
    moves = place_moves(scene, "own")
    turns = [value - 10.0 for value in values(moves, "bearing")]
    assert sorted(turns) == pytest.approx([2.5 * step for step in range(-6, 7) if step])
    assert max(map(abs, turns)) == MOST_TURN
    here = scene.seats["own"].position
    ways = [dist(here, move.seat.position) for move in moves]
    assert all(later >= earlier - 0.001 for earlier, later in pairwise(ways))


def test_a_seat_stays_with_the_rest_of_its_section() -> None:
    """Never beyond ten degrees of the outer mates, whatever side they sit on."""
    turned = values(place_moves(stage(8.0, 9.0), "own"), "bearing")
    assert (min(turned), max(turned)) == (0.0, 20.0)
    assert min(turned) >= 8.0 - SECTION_REACH and max(turned) <= 10.0 + SECTION_REACH
    far = values(place_moves(stage(-30.0, 40.0), "own"), "bearing")
    assert (min(far), max(far)) == (10.0 - MOST_TURN, 10.0 + MOST_TURN)


def test_rows_count_only_where_distance_takes_its_level() -> None:
    assert values(place_moves(stage(), "own"), "distance") == []
    rows = values(place_moves(stage(level="natural"), "own"), "distance")
    assert sorted(rows) == pytest.approx([2.0, 3.0])
    near = values(place_moves(stage(level="natural", distance=3.0), "own"), "distance")
    assert near == pytest.approx([2.0]) and min(near) >= PODIUM_ROOM


def test_a_seat_given_by_x_and_y_keeps_its_distance() -> None:
    scene = stage(bearing=None, distance=None, x=3.0, y=4.0)
    for move in place_moves(scene, "own"):
        assert move.seat.polar_place[1] == pytest.approx(5.0)
        assert move.before == pytest.approx(36.87, abs=0.01)


def test_close_microphones_are_raised_step_by_step() -> None:
    raised = list(closer_moves(stage(perspectives={"tree": 0.0, "close": -8.0}), "own"))
    assert [(move.value, move.before) for move in raised] == [
        (-5.0, -8.0), (-2.0, -8.0), (1.0, -8.0),
    ]  # fmt: skip
    new = list(closer_moves(stage(perspectives={"tree": 0.0}), "own"))
    assert [(move.value, move.before) for move in new] == [(-9.0, None), (-6.0, None), (-3.0, None)]
    assert list(closer_moves(stage(treatment="blended"), "own")) == []
    full = closer_moves(stage(perspectives={"tree": 0.0, "close": 7.0}), "own")
    assert [move.value for move in full] == [10.0]
