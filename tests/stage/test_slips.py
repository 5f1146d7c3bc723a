"""Seats that nobody placed yet and levels that are probably a slip."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from seatwright.disk.scene_file import read_scene
from seatwright.errors import Fault
from seatwright.stage.scene import Scene
from seatwright.stage.slips import slips

SEAT = {"stem": "a.wav", "x": 1, "y": 5}


def found(seats: dict[str, Any], **keys: Any) -> list[Fault]:
    return list(slips(Scene.model_validate({"seats": seats} | keys)))


def test_undecided_seats_are_told_of_in_one_line() -> None:
    open_seat = SEAT | {"section": "unassigned"}
    (doubt,) = found({"a": SEAT, "Tr": open_seat, "Tb": open_seat, "Cor 1": open_seat})
    assert doubt.what == (
        "3 seats are not placed yet: Tr, Tb, Cor 1; give them an instrument and a place"
    )
    assert doubt.key == "seats.Tr.section"
    (doubt,) = found({f"s{number}": open_seat for number in range(11)})
    assert "s7 and 3 more;" in doubt.what
    (doubt,) = found({"Tr": open_seat})
    assert doubt.what.startswith("1 seat is not placed yet: Tr; give it")
    assert found({"a": SEAT}) == []


@pytest.mark.parametrize(("level", "doubted"), [(12, False), (12.5, True), (-60, False)])
def test_levels_above_what_is_usual_are_doubted(level: float, doubted: bool) -> None:
    table = {"gain": level, "perspectives": {"tree": 0, "close": level}}
    doubts = found({"a": SEAT | table}, sections={"brass": table}, seatings={"b": {"a": table}})
    assert [doubt.key for doubt in doubts] == [
        "sections.brass.gain", "sections.brass.perspectives.close", "seats.a.gain",
        "seats.a.perspectives.close", "seatings.b.a.gain", "seatings.b.a.perspectives.close",
    ] * doubted  # fmt: skip
    assert all(doubt.what == "found +12.5 dB, usual is up to +12 dB" for doubt in doubts)


def test_a_read_scene_warns_of_slips_at_their_lines(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text('[seats.Tr]\nstem = "a.wav"\nsection = "unassigned"\nx = 1\ny = 5\ngain = 40\n')
    told = [(doubt.line, doubt.key) for doubt in read_scene(path).warnings]
    assert told == [(3, "seats.Tr.section"), (6, "seats.Tr.gain")]
