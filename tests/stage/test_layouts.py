"""Layouts: every part finds a place, nobody sits in somebody's lap."""

from __future__ import annotations

import itertools
from math import hypot

import pytest

from seatwright.stage.draft import known_layouts
from seatwright.stage.layouts import LAYOUTS, area_of, layout_for
from seatwright.stage.name_table import PARTS


@pytest.mark.parametrize("layout", known_layouts())
def test_every_part_but_a_low_support_line_has_a_place(layout: str) -> None:
    without = {part for part in PARTS if area_of(layout, part) is None}
    assert without == {"low support"}


@pytest.mark.parametrize("layout", known_layouts())
def test_areas_of_a_layout_do_not_share_a_middle(layout: str) -> None:
    areas = list(LAYOUTS[layout].values())
    for one, other in itertools.combinations(areas, 2):
        assert hypot(one.x - other.x, one.y - other.y) > 1.0, (one.part, other.part)


def test_violins_divided_face_each_other_and_basses_cross_over() -> None:
    together, divided = LAYOUTS["violins-together"], LAYOUTS["violins-divided"]
    assert divided["violins1"].x == -divided["violins2"].x
    assert together["basses"].x > 0 > divided["basses"].x


@pytest.mark.parametrize("layout", known_layouts())
def test_a_choir_stands_behind_the_last_row(layout: str) -> None:
    last = max(area.y for area in LAYOUTS[layout].values())
    voices = [area_of(layout, part) for part in ("soprano", "alto", "tenor", "choir bass", "choir")]
    assert all(area is not None and area.y > last for area in voices)


@pytest.mark.parametrize(
    ("parts", "layout"),
    [
        ({"violins1", "violas", "oboes", "horns"}, "chamber"),
        ({"violins1", "trombones", "harp"}, "violins-together"),
        ({"violins1", "trombones", "low support"}, "scoring-stage"),
    ],
)
def test_a_layout_is_chosen_by_what_is_there(parts: set[str], layout: str) -> None:
    chosen, why = layout_for(parts)
    assert chosen == layout
    assert why
