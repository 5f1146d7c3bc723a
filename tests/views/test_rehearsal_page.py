"""The rehearsal page's parts and the facts it draws from."""

from __future__ import annotations

import json
import re
import tomllib
from math import nan
from pathlib import Path

import pytest

from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.stage.scene import Scene
from seatwright.views.rehearsal_facts import figure_facts, scene_facts
from seatwright.views.rehearsal_page import POLICY, SCRIPTS, page_parts

SCENES = Path(__file__).parents[2] / "scenes"


def scene(name: str) -> Scene:
    return Scene.model_validate(tomllib.loads((SCENES / name).read_text(encoding="utf-8")))


def test_every_part_is_named_in_the_page_and_nothing_else() -> None:
    parts = page_parts()
    page = parts[""][1].decode()
    assert re.findall(r'<script src="([^"]+)"', page) == list(SCRIPTS)
    assert set(parts) == {"", "rehearsal.css", *SCRIPTS}
    assert "unsafe" not in POLICY
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for name in SCRIPTS:
        script = parts[name][1].decode()
        assert "innerHTML" not in script
        assert "eval(" not in script
        for used in re.findall(r'byId\("([^"]+)"\)', script):
            assert used in ids


def test_every_field_of_the_page_has_a_label() -> None:
    page = page_parts()[""][1].decode()
    for field in re.findall(r"<(?:input|select)[^>]*>", page):
        before = page[: page.index(field)]
        assert before.rfind("<label") > before.rfind("</label>"), field


def test_the_page_says_first_to_turn_down() -> None:
    page = page_parts()[""][1].decode()
    assert page.index("Turn the volume of your computer") < page.index('id="play"')


@pytest.mark.parametrize("name", ["ferry.toml", "every_key.toml", "smallest.toml"])
def test_facts_are_plain_and_tell_what_is_drawn(name: str) -> None:
    drawn = scene(name)
    facts = json.loads(json.dumps(scene_facts(drawn), allow_nan=False))
    placed = [key for key, seat in drawn.seats.items() if drawn.treatment_of(seat) != "untouched"]
    assert [seat["name"] for seat in facts["seats"]] == placed
    sections = [section["name"] for section in facts["sections"]]
    for seat in facts["seats"]:
        written = drawn.seats[seat["name"]]
        assert (seat["x"], seat["y"]) == pytest.approx(written.floor_place)
        assert seat["facing"] == written.facing_degrees
        assert seat["section"] in sections
    for section in facts["sections"]:
        of_it = [s for s in drawn.seats.values() if s.section_name == section["name"]]
        assert section["levels"] in [
            drawn.balance_of(s) for s in of_it if not s.perspectives
        ] or all(s.perspectives for s in of_it)


def test_figures_without_meaning_are_left_open() -> None:
    figures = SeatFigures(0.0, 1.234, nan, 5.0, 0.0, 0.0, float("inf"), -3.0, "loudspeakers")
    assert figure_facts(figures) == {
        "direct": 1.23, "clarity": None, "heard": None, "placed": -3.0, "over": "loudspeakers",
    }  # fmt: skip
