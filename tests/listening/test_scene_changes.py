"""What was changed in a scene, in words."""

from __future__ import annotations

import tomllib

import pytest

from seatwright.listening.scene_changes import same_scene, scene_changes
from seatwright.stage.routing import heard_seats
from seatwright.stage.scene import Scene

TEXT = """
title = "Ferry"
[hall]
reverberation = 1.9
[seats.violas]
stem = "violas.wav"
instrument = "viola"
bearing = 23
distance = 5.0
[seats.horns]
stem = ["one.wav", "two.wav"]
instrument = "horn"
x = -4
y = 8
[seatings.deep.horns]
y = 10
"""


def scene(*edits: tuple[str, str], more: str = "") -> Scene:
    text = TEXT
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return Scene.model_validate(tomllib.loads(text + more))


def changes(*edits: tuple[str, str], more: str = "") -> tuple[str, ...]:
    first, second = scene(), scene(*edits, more=more)
    return scene_changes(first, second, heard_seats(first), heard_seats(second))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("bearing = 23", "bearing = 20", "violas moved 0.3 m, bearing -3 degrees"),
        ("distance = 5.0", "distance = 5.8", "violas moved 0.8 m, distance +0.8 m"),
        ("distance = 5.0", "distance = 5.04", "violas moved 0.04 m, distance +0.04 m"),
        ("y = 8", "y = 8\ngain = -1.5", "horns gain -1.5 dB"),
        ("y = 8", "y = 8\nmute = true", "horns silent"),
        ("y = 8", 'y = 8\ntreatment = "blended"', "horns treatment placed to blended"),
        ("y = 8", "y = 8\nheight = 1.4", "horns height as usual to 1.4"),
        ('"two.wav"]', '"new.wav"]', "horns stem one.wav + two.wav to one.wav + new.wav"),
        ("reverberation = 1.9", "reverberation = 2.2", "hall.reverberation 1.9 to 2.2"),
        ('"Ferry"', '"Boat"', "title Ferry to Boat"),
    ],
)
def test_one_change_is_named_as_such(old: str, new: str, words: str) -> None:
    assert changes((old, new)) == (words,)


def test_a_bearing_across_the_back_is_not_a_whole_turn() -> None:
    (words,) = scene_changes(
        scene(("bearing = 23", "bearing = 179")),
        scene(("bearing = 23", "bearing = -179")),
        ("violas",),
        ("violas",),
    )
    assert words == "violas moved 0.2 m, bearing +2 degrees"


def test_seats_come_and_go() -> None:
    more = '[seats.harp]\nstem = "harp.wav"\nx = 1\ny = 5\n'
    assert changes(more=more) == ("harp added",)
    one, other = scene(more=more), scene()
    assert scene_changes(one, other, heard_seats(one), heard_seats(other)) == ("harp taken out",)
    muted = scene(("y = 8", "y = 8\nmute = true"))
    assert scene_changes(muted, other, heard_seats(muted), heard_seats(other)) == ("horns sounds",)


def test_what_a_whole_section_did_is_said_once() -> None:
    more = """
[sections.strings]
perspectives = { tree = 0, close = -5 }
[seats.cellos]
stem = "cellos.wav"
instrument = "cello"
bearing = 60
distance = 5.0
"""
    softer = more.replace("close = -5", "close = -8")
    one, other = scene(more=more), scene(more=softer)
    heard = heard_seats(one)
    assert scene_changes(one, other, heard, heard) == ("strings, all 2 seats, close -3.0 dB",)
    mute = ("y = 8", 'y = 8\nmute = true\nsection = "strings"')
    heard = heard_seats(scene(mute, more=more))
    assert scene_changes(scene(mute, more=more), scene(mute, more=softer), heard, heard) == (
        "strings, all 2 seats, close -3.0 dB",
    )
    heard = heard_seats(one)
    moved = scene(("bearing = 23", "bearing = 20"), more=softer)
    assert scene_changes(one, moved, heard, heard) == (
        "violas moved 0.3 m, bearing -3 degrees, close -3.0 dB",
        "cellos close -3.0 dB",
    )
    alone = scene(("y = 8", "y = 8\ngain = -1"), more=more)
    assert scene_changes(one, alone, heard, heard) == ("horns gain -1.0 dB",)


def test_seats_stand_before_what_all_share() -> None:
    found = changes(("reverberation = 1.9", "reverberation = 2.2"), ("y = 8", "y = 9"))
    assert [words.split()[0] for words in found] == ["horns", "hall.reverberation"]


def test_another_seating_changes_nothing_of_this_one() -> None:
    edited = scene(("y = 10", "y = 11"))
    assert same_scene(scene(), edited)
    assert not same_scene(scene().seated("deep"), edited.seated("deep"))
    assert changes(("y = 10", "y = 11")) == ()


def test_another_value_of_any_key_is_another_scene() -> None:
    assert not same_scene(scene(), scene(("y = 8", "y = 8.001")))
    assert not same_scene(scene(), scene(('"Ferry"', '"Boat"')))
