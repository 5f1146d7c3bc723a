"""What differs between two seatings: moves, words, figures, and what is left out of the table."""

from __future__ import annotations

from typing import Any

import pytest

from seatwright.listening.differences import differences, hall_changes
from seatwright.stage.scene import Scene
from seatwright.views.difference_table import Difference, difference_facts, difference_text


def scene(**changed: dict[str, Any]) -> Scene:
    seats: dict[str, dict[str, Any]] = {
        "horns": {"stem": "a.wav", "instrument": "horn", "bearing": 0, "distance": 8},
        "harp": {"stem": "b.wav", "instrument": "harp", "bearing": -40, "distance": 6},
    }
    for name, keys in changed.items():
        seats[name] = {**seats.get(name, {}), **keys}
    return Scene.model_validate({"seats": seats})


def row(bearing: float, distance: float, ratio: float = 1.0) -> dict[str, Any]:
    figures = {
        "heard_bearing": bearing / 2,
        "direct_to_reverberant_db": ratio,
        "clarity_db": None,
        "level_db": 0.0,
    }
    return {"bearing": bearing, "distance": distance, "figures": figures}


def test_a_move_is_measured_along_the_floor_and_comes_first() -> None:
    """60 degrees on a circle of 6 m is a chord of 6 m."""
    before = {"horns": row(0, 8), "harp": row(-40, 6)}
    after = {"horns": row(0, 8), "harp": row(20, 6, ratio=-1.0)}
    harp, horns = differences(scene(), scene(harp={"bearing": 20}), before, after)
    assert (harp.seat, horns.seat) == ("harp", "horns")
    assert harp.moved == pytest.approx(6.0)
    assert (harp.bearing.change, harp.distance.change) == (60.0, 0.0)
    assert harp.figures["heard_bearing"].change == 30.0
    assert harp.figures["direct_to_reverberant_db"].change == -2.0
    assert harp.figures["clarity_db"].change is None
    assert not horns.is_written


def test_everything_written_differently_is_said() -> None:
    before = {"horns": row(0, 8), "harp": row(-40, 6)}
    keys = {"gain": -3, "riser": 0.4, "facing": 90, "level": "natural", "width": 2.5,
            "perspectives": {"tree": -2, "head": 0}}  # fmt: skip
    (horns, _) = differences(scene(), scene(horns=keys), before, before)
    said = ", ".join(horns.changes)
    for part in ("gain -3.0 dB", "riser 0 m to 0.4 m", "facing as usual to 90 degrees",
                 "level held to natural", "to 2.5 m", "tree -2.0 dB", "head added at +0.0 dB",
                 "close left out"):  # fmt: skip
        assert part in said
    assert horns.moved == 0.0


def test_a_seat_that_sounds_in_one_version_only_is_kept() -> None:
    found = differences(scene(), scene(), {"horns": row(0, 8)}, {"harp": row(-40, 6)})
    assert {(each.seat, each.presence) for each in found} == {
        ("horns", "first"),
        ("harp", "second"),
    }
    text = difference_text([Difference("one", "two", found, ())])
    assert "only in the first" in text and "only in the second" in text


def test_the_table_leaves_out_what_is_the_same_and_the_facts_do_not() -> None:
    before = {"horns": row(0, 8), "harp": row(-40, 6)}
    after = {"horns": row(0, 8), "harp": row(-40, 7, ratio=0.5)}
    found = differences(scene(), scene(harp={"distance": 7}), before, after)
    each = Difference("written\x1b", "far", found, ("the hall",))
    text = difference_text([each])
    assert "6.0 > 7.0" in text and "1.0 > 0.5" in text and "horns" not in text
    assert "Written differently too: the hall." in text and "\x1b" not in text
    (pair,) = difference_facts([each])["pairs"]
    assert [seat["seat"] for seat in pair["seats"]] == ["harp", "horns"]
    assert pair["seats"][0]["distance"] == {"first": 6.0, "second": 7.0, "change": 1.0}
    same = Difference("a", "b", differences(scene(), scene(), before, before), ())
    assert same.rows() == [] and same.note == "Nothing is written differently."


def test_hall_and_microphones_are_compared_as_wholes() -> None:
    one = scene()
    other = Scene.model_validate({**one.model_dump(), "hall": {"reverberation": 1.2},
                                  "microphones": {"tree": {"array": "ortf"}}})  # fmt: skip
    assert hall_changes(one, one) == ()
    assert hall_changes(one, other) == ("the hall", "the microphones")
