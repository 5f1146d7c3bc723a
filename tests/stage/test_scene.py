"""The scene: defaults from sections, seatings carried out, and a schema that says the same."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from pydantic import ValidationError

from seatwright.stage.description import dotted_key
from seatwright.stage.scene import Scene, scene_schema

ROOT = Path(__file__).parents[2]
SCENES = sorted((ROOT / "scenes").glob("*.toml"))
SEAT = {"stem": "a.wav", "x": 1, "y": 5}


def scene(**keys: Any) -> Scene:
    return Scene.model_validate({"seats": {"a": SEAT, "b": SEAT | {"x": 3}}} | keys)


def test_seat_keys_come_before_the_sections() -> None:
    found = scene(
        sections={"low": {"treatment": "untouched", "level": "natural", "gain": -3}},
        seats={
            "a": SEAT | {"section": "low", "gain": 1},
            "b": SEAT | {"section": "low", "treatment": "blended", "level": "held"},
            "c": SEAT,
        },
    )
    a, b, c = found.seats.values()
    assert [found.treatment_of(seat) for seat in (a, b, c)] == ["untouched", "blended", "placed"]
    assert [found.level_of(seat) for seat in (a, b, c)] == ["natural", "held", "held"]
    assert [found.gain_of(seat) for seat in (a, b, c)] == [-2, -3, 0]


def test_balance_is_the_seats_else_the_sections_else_the_default() -> None:
    found = scene(
        sections={"low": {"perspectives": {"tree": -1}}, "bare": {}},
        seats={
            "a": SEAT | {"section": "low", "perspectives": {"head": 0}},
            "b": SEAT | {"section": "low"},
            "c": SEAT | {"section": "bare"},
            "d": SEAT,
        },
    )
    balances = [found.balance_of(seat) for seat in found.seats.values()]
    assert balances[:2] == [{"head": 0}, {"tree": -1}]
    assert balances[2] == balances[3]
    assert set(balances[3]) == {"tree", "outriggers", "ambient", "close"}


@pytest.mark.parametrize(
    ("a", "b", "sections", "heard"),
    [
        ({}, {}, {}, ("a", "b")),
        ({"mute": True}, {}, {}, ("b",)),
        ({"solo": True}, {}, {}, ("a",)),
        ({"solo": True, "mute": True}, {}, {}, ()),
        ({}, {}, {"support": {"mute": True}}, ()),
        ({"section": "x"}, {}, {"x": {"solo": True}}, ("a",)),
        ({"section": "x"}, {"solo": True}, {"x": {"solo": True}}, ("a", "b")),
    ],
)
def test_mute_and_solo(
    a: dict[str, Any], b: dict[str, Any], sections: dict[str, Any], heard: tuple[str, ...]
) -> None:
    found = scene(seats={"a": SEAT | a, "b": SEAT | {"x": 3} | b}, sections=sections)
    assert found.sounding() == heard


def test_seating_changes_only_its_seats() -> None:
    found = scene(seatings={"wide": {"b": {"x": 6}}})
    seated = found.seated("wide")
    assert seated.seats["b"].floor_place == (6, 5)
    assert seated.seats["a"] == found.seats["a"]
    assert found.seats["b"].floor_place == (3, 5)
    assert found.seated(None) is found
    with pytest.raises(KeyError):
        found.seated("narrow")


def test_equal_scenes_hash_alike() -> None:
    assert hash(scene()) == hash(scene())
    assert hash(scene(rate=48000)) != hash(scene())


@pytest.mark.parametrize("name", ["", "a/b", "a\\b", "a\nb", "\x85", "x" * 201])
@pytest.mark.parametrize("table", ["seats", "sections", "seatings"])
def test_names_that_no_file_could_have_are_refused(table: str, name: str) -> None:
    value = {"seats": SEAT, "sections": {}, "seatings": {"a": {}}}[table]
    with pytest.raises(ValidationError):
        scene(**{table: {name: value}})


BAD = [
    {"seats": {}},
    {"seats": [SEAT]},
    {"seats": {"a": "a.wav"}},
    {"seats": {"a": {"x": 1, "y": 2}}},
    {"seats": {"a": SEAT | {"stem": 3}}},
    {"seats": {"a": SEAT | {"stem": ["a", 3]}}},
    {"seats": {"a": SEAT | {"x": "left"}}},
    {"seats": {"a": SEAT | {"gain": 100}}},
    {"seats": {"a": SEAT | {"treatment": "wet"}}},
    {"seats": {"a": SEAT | {"players": 1.5}}},
    {"seats": {"a": SEAT | {"beering": 1}}},
    {"seats": {"a": SEAT | {"stem": "a\u0007"}}},
    {"seats": {f"s{number}": SEAT for number in range(1001)}},
    {"hall": 3},
    {"hall": {"size": {"width": 1}}},
    {"hall": {"surfaces": {"floor": 3}}},
    {"hall": {"surfaces": {"floor": {"absorption": 1}}}},
    {"microphones": {"tree": {"pattern": "cardoid"}}},
    {"sections": {"a": {"perspectives": {"tre": 1}}}},
    {"seatings": {"a": {"a": {"stem": "x"}}}},
    {"rate": 100},
    {"rate": 48000.5},
    {"title": "x" * 501},
    {"title": "two\nlines"},
    {"titel": "x"},
    {"format": 0},
]


@pytest.mark.parametrize("keys", BAD, ids=lambda keys: str(keys)[:40])
def test_scene_and_schema_refuse_the_same(keys: dict[str, Any]) -> None:
    table = {"seats": {"a": SEAT}} | keys
    with pytest.raises(ValidationError):
        Scene.model_validate(table)
    assert not Draft202012Validator(scene_schema()).is_valid(table)


def test_schema_is_itself_valid() -> None:
    schema = scene_schema()
    Draft202012Validator.check_schema(schema)
    assert schema["required"] == ["seats"]


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_schema_accepts_every_scene_of_the_house(path: Path) -> None:
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    Draft202012Validator(scene_schema()).validate(table)
    assert set(Scene.model_validate(table).seats) == set(table["seats"])


def test_scenes_of_the_house_are_there() -> None:
    assert "smallest" in {path.stem for path in SCENES}


def test_every_key_a_person_writes_a_number_at_is_described() -> None:
    schema = scene_schema()
    bare = {
        dotted_key(table, key)
        for table, node in schema["$defs"].items()
        for key, inner in node["properties"].items()
        if "description" not in inner and "enum" not in inner and "$ref" not in inner
    }
    plain = {"mute", "solo", "x", "close", "head", "tree", "ambient", "outriggers", "pattern"}
    surfaces = {"floor", "ceiling", "left", "right", "upstage", "rear"}
    assert {key.split(".")[1] for key in bare} <= plain | surfaces | {"instrument"}
