"""Drafted balances: nobody is heard on the wrong side, and sections keep their distance."""

from __future__ import annotations

import tomllib
from statistics import mean

import pytest

from seatwright.acoustics.bearings import bearing_doubts
from seatwright.acoustics.impulse_response import Grid, response_seconds
from seatwright.acoustics.listening import earliest_arrival, listening_of, seat_plan
from seatwright.acoustics.seat_figures import SeatFigures, seat_figures
from seatwright.acoustics.seat_response import seat_response
from seatwright.stage.draft import draft_seats, known_layouts
from seatwright.stage.layouts import LAYOUTS
from seatwright.stage.naming import read_names
from seatwright.stage.scene import Scene
from seatwright.views.draft_text import scene_text

RATE = 8_000
"""Enough for direct-to-reverberant ratios, which are taken from 500 Hz to 1 kHz."""

WINDS = {"flutes", "oboes", "clarinets", "bassoons", "horns", "trumpets", "trombones"}
SPELT = {"violins1": "violins 1", "violins2": "violins 2"}


def drafted(layout: str, stems_a_wind: int | None) -> Scene:
    """A layout with all its parts and a choir; winds as one stem, some, or one a player (None)."""
    names = []
    for part, area in [*LAYOUTS[layout].items(), *LAYOUTS["choir-behind"].items()]:
        count = (stems_a_wind or area.players) if part in WINDS else 1
        numbers = [f" {number}" for number in range(1, count + 1)] if count > 1 else [""]
        names += [f"{SPELT.get(part, part)}{number}.wav" for number in numbers]
    seats = draft_seats(read_names(names), layout)
    assert sum(len(seat.stems) for seat in seats) == len(names)
    return Scene.model_validate(tomllib.loads(scene_text("all", ".", seats, layout, "all parts")))


def figures(scene: Scene) -> dict[str, SeatFigures]:
    listening = listening_of(scene)
    plans = {name: seat_plan(scene, name, 1) for name in scene.seats}
    origin = earliest_arrival(listening, list(plans.values()))
    grid = Grid(RATE, round(response_seconds(listening.room) * RATE), origin)
    return {
        name: seat_figures(listening, plan, seat_response(listening, plan, grid))
        for name, plan in plans.items()
    }


@pytest.mark.parametrize("stems_a_wind", [1, 3, None])
@pytest.mark.parametrize("layout", known_layouts())
def test_a_full_layout_is_heard_in_its_order(layout: str, stems_a_wind: int | None) -> None:
    scene = drafted(layout, stems_a_wind)
    found = {name: each.bearing for name, each in figures(scene).items()}
    assert len(found) >= len(LAYOUTS[layout]) + 4
    assert bearing_doubts(found) == []


@pytest.mark.parametrize("layout", known_layouts())
def test_sections_stand_one_behind_the_other(layout: str) -> None:
    """Strings and woodwinds about alike in front, then brass, the choir furthest back.

    In the large layouts the strings, half as far off, are more direct by a little.
    """
    scene, ratios = drafted(layout, 1), dict[str, list[float]]()
    for name, each in figures(scene).items():
        section = scene.seats[name].section_name
        ratios.setdefault(section, []).append(each.direct_to_reverberant_db)
    direct = {section: mean(each) for section, each in ratios.items()}
    front = min(direct["woodwinds"], direct["strings"])
    assert front > direct["percussion"] > direct["brass"] > direct["choir"] + 0.5
    assert front > direct["brass"] + 5.0
    assert direct["strings"] - direct["woodwinds"] < 2.0
    assert direct["choir"] < -7.0
