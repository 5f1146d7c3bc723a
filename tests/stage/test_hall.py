"""The hall: its frame, its bounds, and what it refuses."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from seatwright.stage.hall import Hall, Size, Surfaces
from seatwright.stage.surfaces import SURFACE_NAMES, SurfaceTable, surface_absorption

HALL = Hall(size=Size(width=20, depth=30, height=12), podium=9)


def test_origin_is_the_podium_and_y_points_upstage() -> None:
    assert HALL.bounds == ((-10, 10), (-21, 9), (0, 12))


@pytest.mark.parametrize(("depth", "podium"), [(30, 10), (36, 12), (60, 12)])
def test_podium_stands_a_third_in_and_at_most_twelve_metres(depth: float, podium: float) -> None:
    assert Hall(size=Size(depth=depth)).podium_depth == podium


def test_volume_and_areas() -> None:
    assert HALL.volume == 7200
    assert dict(zip(SURFACE_NAMES, HALL.areas, strict=True)) == {
        "floor": 600, "ceiling": 600, "left": 360, "right": 360, "upstage": 240, "rear": 240,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("position", "says"),
    [
        ((0, 0, 1), ""),
        ((9.9, 8.9, 11.9), ""),
        ((-9.9, -20.9, 0.1), ""),
        ((9.95, 0, 1), "found x = 9.95 m, 0.05 m outside, wanted -9.90 to 9.90 m"),
        ((0, 12, 1), "found y = 12.00 m, 3.10 m outside, wanted -20.90 to 8.90 m"),
        ((0, -25, 1), "found y = -25.00 m, 4.10 m outside"),
        (
            (0, 0, 0),
            "found a height of 0.00 m above the stage floor, 0.10 m outside, "
            "wanted 0.10 to 11.90 m",
        ),
    ],
)
def test_outside_says_by_how_much(position: tuple[float, float, float], says: str) -> None:
    found = HALL.outside(position)
    assert found.startswith(says) and bool(found) == bool(says)


def test_absorption_and_scattering_follow_the_order_of_the_surfaces() -> None:
    own = SurfaceTable(absorption=0.5, scattering=0.7)
    hall = Hall(surfaces=Surfaces(left=own, rear="marble_floor"), scattering=0.1)
    absorption = dict(zip(SURFACE_NAMES, hall.absorption, strict=True))
    scattering = dict(zip(SURFACE_NAMES, hall.scattering_bands, strict=True))
    assert absorption["left"] == (0.5,) * 9
    assert absorption["rear"] == surface_absorption("marble_floor")
    assert absorption["floor"] == surface_absorption("stage_and_audience")
    assert scattering["left"] == (0.7,) * 9
    assert scattering["rear"] == (0.1,) * 9


def test_equal_halls_hash_alike_and_different_ones_differ() -> None:
    again = Hall(size=Size(width=20, depth=30, height=12), podium=9)
    assert (again, hash(again)) == (HALL, hash(HALL))
    assert again.model_copy(update={"humidity": 51.0}) != HALL


def test_hall_cannot_be_changed() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        HALL.humidity = 30.0  # type: ignore[misc]


@pytest.mark.parametrize(
    "values",
    [
        {"size": {"width": 1.9}},
        {"size": {"depth": 201}},
        {"podium": 0},
        {"reverberation": 0.05},
        {"reverberation": "long"},
        {"reverberation": float("inf")},
        {"scattering": -0.1},
        {"mixing_time": 2},
        {"temperature": 51},
        {"humidity": 4},
        {"humidity": True},
        {"surfaces": {"floor": "lava"}},
        {"surfaces": {"front": "hard_surface"}},
        {"colour": "red"},
    ],
)
def test_what_no_hall_can_be_is_refused(values: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Hall.model_validate(values)
