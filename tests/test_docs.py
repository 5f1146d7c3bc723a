"""The docs are true: commands stand in the README, its scene reads, the schema is the code's."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer.main

from seatwright.cli import app
from seatwright.stage.hall import Hall
from seatwright.stage.scene import Scene, scene_schema
from seatwright.views.hall_list import hall_entries

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


def keys_of(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        if isinstance(properties := schema.get("properties"), dict):
            yield from properties
        for value in schema.values():
            yield from keys_of(value)
    elif isinstance(schema, list):
        for value in schema:
            yield from keys_of(value)


def test_one_scene_shows_every_key() -> None:
    shown = (ROOT / "scenes" / "every_key.toml").read_text(encoding="utf-8")
    keys = set(keys_of(scene_schema()))
    assert len(keys) > 50
    assert [key for key in sorted(keys) if not re.search(rf"\b{re.escape(key)}\b", shown)] == []
