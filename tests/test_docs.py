"""The docs are true: commands stand in the README, its scene reads, the schema is the code's."""

from __future__ import annotations

import json
import re
import tomllib
from math import atan2, degrees, hypot
from pathlib import Path
from typing import Any

import pytest
import typer.main

from seatwright.cli import app
from seatwright.stage.hall import Hall
from seatwright.stage.layouts import LAYOUTS
from seatwright.stage.scene import Scene, scene_schema
from seatwright.views.hall_list import hall_entries
from seatwright.views.report import SEAT_LEGEND

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_command_and_option_stands_in_the_readme() -> None:
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    assert {"render", "check", "draft", "plan", "halls"} <= set(commands)
    for name, command in commands.items():
        assert f"`seatwright {name}" in README
        for parameter in command.params:
            for option in parameter.opts:
                assert not option.startswith("--") or option == "--help" or option in README


def test_the_first_scene_of_the_readme_reads() -> None:
    text = re.findall(r"```toml\n(.*?)```", README, flags=re.S)[0]
    scene = Scene.model_validate(tomllib.loads(text))
    assert scene.seated("further").seats["horns"].distance == 11.0


def test_the_readme_lists_the_starting_halls_as_they_are() -> None:
    for hall in hall_entries():
        size = f"{hall.width:g} × {hall.depth:g} × {hall.height:g}"
        figures = f"{size} | {hall.volume:.0f} | {hall.reverberation:.2f} |"
        assert f"| `{hall.name}` | {hall.summary} | {figures}" in README


def test_the_hall_of_the_readme_is_valid() -> None:
    (text,) = (t for t in re.findall(r"```toml\n(.*?)```", README, flags=re.S) if "type =" in t)
    hall = Hall.model_validate(tomllib.loads(text)["hall"])
    assert (hall.size.height, hall.surfaces.rear) == (13.0, "curtains_velvet")


def test_the_published_schema_is_that_of_the_code() -> None:
    published = json.loads((ROOT / "scenes" / "scene.schema.json").read_text(encoding="utf-8"))
    assert published == scene_schema()


def test_every_column_of_the_seat_table_stands_in_the_readme() -> None:
    for name, text in SEAT_LEGEND:
        assert f"| {name} | {text} |" in README


PLAYERS = {
    "first violins": ("violins1",),
    "second violins": ("violins2",),
    "violas": ("violas",),
    "cellos": ("cellos",),
    "basses": ("basses",),
    "flutes, oboes": ("flutes", "oboes"),
    "clarinets, bassoons": ("clarinets", "bassoons"),
    "horns": ("horns",),
    "trumpets, trombones": ("trumpets", "trombones"),
    "timpani": ("timpani",),
    "harp": ("harp",),
}


@pytest.mark.parametrize("who", PLAYERS)
def test_the_usual_places_of_the_readme_are_those_of_a_draft(who: str) -> None:
    areas = [LAYOUTS["violins-together"][part] for part in PLAYERS[who]]
    bearings = ", ".join(f"{degrees(atan2(area.x, area.y)):.0f}" for area in areas)
    (distance,) = {f"{hypot(area.x, area.y):.1f}" for area in areas}
    (riser,) = {f"{area.riser:g}" for area in areas}
    assert f"| {who} | {bearings} | {distance} | {riser} |" in README


def test_the_scene_of_every_key_holds_each_in_a_table_of_its_kind() -> None:
    """Keys that stand as a comment, since they go with another value, are read as well."""
    text = (ROOT / "scenes" / "every_key.toml").read_text(encoding="utf-8")
    shown = tomllib.loads(re.sub(r"^# (\w+ = )", r"\1", text, flags=re.M))
    assert keys_not_shown(shown) == []
    del shown["microphones"]["close"]["spill"], shown["hall"]["type"]
    assert keys_not_shown(shown) == ["Close.spill", "Hall.type"]


def keys_not_shown(shown: dict[str, Any]) -> list[str]:
    """Keys of each kind of table that no table of this kind holds; what an alternative may change
    of a seat are the seat's own keys, which are looked for there."""
    schema = scene_schema()
    kinds = {"Scene": schema, **schema["$defs"]}
    held: dict[str, set[str]] = {kind: set() for kind in kinds if kind != "SeatChange"}

    def look(below: Any, value: Any) -> None:
        kind = below["$ref"].rpartition("/")[2] if "$ref" in below else ""
        below = kinds.get(kind, below)
        for either in below.get("anyOf", ()):
            look(either, value)
        if not isinstance(value, dict) or kind == "SeatChange":
            return
        if "properties" in below:
            held[kind or "Scene"].update(value)
        named = next(iter(below.get("patternProperties", {"": {}}).values()))
        for key, inner in value.items():
            look(below.get("properties", {}).get(key, named), inner)

    look(schema, shown)
    return sorted(
        f"{kind}.{key}"
        for kind, keys in held.items()
        for key in kinds[kind].get("properties", {})
        if key not in keys
    )
