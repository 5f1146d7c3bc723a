"""Whatever is drafted can be rendered: seats in the hall, off the microphones, apart."""

from __future__ import annotations

from itertools import combinations
from math import dist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.disk.scene_checks import checked
from seatwright.disk.toml_text import decoded, parsed
from seatwright.stage.draft import DraftSeat, draft_seats, known_layouts
from seatwright.stage.name_table import PARTS
from seatwright.stage.naming import NameGuess, read_names
from seatwright.stage.rules import scene_doubts
from seatwright.stage.scene import Scene
from seatwright.views.draft_text import scene_text

NEAREST = 0.25
"""Metres; drafted 0.3 m apart, written with a bearing of one decimal."""


def drafted_scene(seats: list[DraftSeat], layout: str) -> Scene:
    """A drafted scene as it would be read back; every fault fails the test."""
    text, faults = decoded(scene_text("x", "stems", seats, layout, "y").encode())
    assert faults == []
    table, faults = parsed(text)
    assert faults == []
    scene, faults = checked(table)
    assert faults == []
    assert scene is not None
    return scene


def assert_apart(scene: Scene) -> None:
    """No two placed seats on one spot and nothing else doubtful."""
    assert scene_doubts(scene) == []
    places = {
        name: seat.floor_place
        for name, seat in scene.seats.items()
        if scene.treatment_of(seat) != "untouched"
    }
    near = [
        (one, other)
        for (one, here), (other, there) in combinations(places.items(), 2)
        if dist(here, there) < NEAREST
    ]
    assert near == []


def guesses_of(parts: dict[str, int]) -> list[NameGuess]:
    """So many stems of each part, numbered where there are several."""
    return [
        NameGuess(f"{part} {number}.wav", part, (), 0.9, "x", str(number) if count > 1 else "")
        for part, count in parts.items()
        for number in range(1, count + 1)
    ]


@pytest.mark.parametrize("layout", known_layouts())
def test_every_part_at_once_fits(layout: str) -> None:
    scene = drafted_scene(draft_seats(guesses_of(dict.fromkeys(PARTS, 1)), layout), layout)
    assert len(scene.seats) == len(PARTS)
    assert_apart(scene)


@pytest.mark.parametrize("layout", known_layouts())
def test_every_part_twice_and_open_names_fit(layout: str) -> None:
    guesses = guesses_of(dict.fromkeys(PARTS, 2)) + [NameGuess(f"{n}?.wav", "") for n in range(150)]
    scene = drafted_scene(draft_seats(guesses, layout), layout)
    assert len(scene.seats) == 2 * len(PARTS) + 150
    assert_apart(scene)


@pytest.mark.parametrize("layout", known_layouts())
@pytest.mark.parametrize(("part", "count"), [("horns", 8), ("violin", 16), ("percussion", 40)])
def test_many_players_of_one_part_stay_in_a_hall_of_human_size(
    layout: str, part: str, count: int
) -> None:
    scene = drafted_scene(draft_seats(guesses_of({part: count}), layout), layout)
    assert_apart(scene)
    assert scene.hall.size.width <= 45.0


@given(
    st.dictionaries(st.sampled_from(sorted(PARTS)), st.integers(1, 12), min_size=1, max_size=12),
    st.integers(0, 30),
    st.sampled_from(known_layouts()),
)
@settings(max_examples=40, deadline=None)
def test_any_orchestra_passes_every_rule(parts: dict[str, int], unknown: int, layout: str) -> None:
    guesses = guesses_of(parts) + [NameGuess(f"{n}.wav", "") for n in range(unknown)]
    assert_apart(drafted_scene(draft_seats(guesses, layout), layout))


@given(
    st.lists(
        st.text(
            st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp"), exclude_characters="/\\"),
            min_size=1, max_size=150,
        ),
        min_size=1, max_size=8, unique=True,
    )
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_names_of_any_letters_become_seats_with_names_apart(names: list[str]) -> None:
    seats = draft_seats(read_names([f"{name}.wav" for name in names]), "chamber")
    scene = drafted_scene(seats, "chamber")
    assert sum(len(seat.stems) for seat in scene.seats.values()) == len(names)


def test_more_stems_of_a_part_than_a_seat_holds_go_on_in_another() -> None:
    names = [f"violas take number {number:04d} of a long night.wav" for number in range(1000)]
    guesses = [NameGuess(name, "violas", (), 0.9, "a reason") for name in names]
    seats = draft_seats(guesses, "chamber")
    scene = drafted_scene(seats, "chamber")
    assert sorted(stem for seat in scene.seats.values() for stem in seat.stems) == names
    assert_apart(scene)
