"""Starting halls: each is whole, and what a scene writes beside its type wins."""

from __future__ import annotations

import re

import pytest
from pydantic import ValidationError

from seatwright.stage.hall import Hall, Size, Surfaces
from seatwright.stage.hall_library import HALL_TYPES, unknown_hall, with_type
from seatwright.stage.microphones import Microphones, hall_microphones, listener
from seatwright.stage.scene import scene_schema
from seatwright.stage.surfaces import SURFACE_NAMES, SurfaceTable


def test_there_are_ten_with_plain_names() -> None:
    assert len(HALL_TYPES) == 10
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", name) for name in HALL_TYPES)
    assert len({hall.size for hall in HALL_TYPES.values()}) == 10


@pytest.mark.parametrize("name", HALL_TYPES)
def test_default_microphones_fit(name: str) -> None:
    """Outriggers 8 m apart and ambient microphones 10 m out shrink to a small hall."""
    hall, microphones = Hall(type=name), Microphones()
    for microphone in hall_microphones(microphones, hall):
        assert hall.outside(microphone.position) == "", microphone.name
    assert hall.outside(listener(microphones, hall).position) == ""


@pytest.mark.parametrize("name", HALL_TYPES)
def test_a_type_fills_what_is_left_out(name: str) -> None:
    hall, given = Hall(type=name), HALL_TYPES[name]
    assert (hall.size.width, hall.size.depth, hall.size.height) == given.size
    assert (hall.podium, hall.scattering) == (given.podium, given.scattering)
    assert tuple(getattr(hall.surfaces, surface) for surface in SURFACE_NAMES) == given.surfaces
    assert hall.reverberation is None
    assert hash(hall) == hash(Hall(type=name))


def test_written_keys_win_one_by_one() -> None:
    own = {"left": {"absorption": 0.5}, "rear": "hard_surface"}
    hall = Hall.model_validate(
        {"type": "church", "size": {"height": 18}, "surfaces": own, "seed": 3, "scattering": 0.1}
    )
    church = Hall(type="church")
    assert hall.size == Size(width=18, depth=40, height=18)
    assert hall.surfaces.left == SurfaceTable(absorption=0.5)
    assert hall.surfaces.rear == "hard_surface"
    assert hall.surfaces.floor == church.surfaces.floor
    assert (hall.seed, hall.scattering) == (3, 0.1)


def test_whole_descriptions_win_whole() -> None:
    hall = Hall(type="studio", size=Size(width=30), surfaces=Surfaces())
    assert (hall.size, hall.surfaces) == (Size(width=30), Surfaces())


def test_the_podium_of_a_type_holds_while_its_size_does() -> None:
    """In a hall of another size it stands a third in, as everywhere."""
    assert Hall(type="cathedral").podium_depth == 14.0
    assert Hall.model_validate({"type": "cathedral", "size": {"depth": 30}}).podium_depth == 10.0
    both = {"type": "cathedral", "size": {"depth": 30}, "podium": 12}
    assert Hall.model_validate(both).podium_depth == 12.0


def test_what_is_written_is_not_changed() -> None:
    written = {"type": "studio", "size": {"width": 11}}
    with_type(written)
    assert written == {"type": "studio", "size": {"width": 11}}


def test_a_hall_without_a_type_is_as_before() -> None:
    assert with_type({"humidity": 40.0}) == {"humidity": 40.0}
    assert Hall().size == Size(width=22, depth=36, height=16)


@pytest.mark.parametrize("name", ["chamber hall", "Chamber-Hall", "chamberhall"])
def test_unknown_type_gets_the_nearest(name: str) -> None:
    assert unknown_hall(name).startswith("nearest: chamber-hall")
    with pytest.raises(ValidationError, match=f'found unknown hall type "{name}"'):
        Hall(type=name)


def test_a_name_like_none_gets_all() -> None:
    assert unknown_hall("zzzz") == "known: " + ", ".join(HALL_TYPES)
    assert unknown_hall("dry-room") == ""


@pytest.mark.parametrize("written", [{"type": 3}, {"type": "studio", "size": 4}, {"type": ["x"]}])
def test_wrong_kinds_are_refused(written: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Hall.model_validate(written)


def test_the_schema_lists_the_names() -> None:
    choices = scene_schema()["$defs"]["Hall"]["properties"]["type"]["anyOf"][0]
    assert choices["enum"] == list(HALL_TYPES)
