"""Notes on a render: how its trim fits others, where it ends, what stands beside it."""

from __future__ import annotations

from typing import Any

import pytest

from seatwright.stage.request import Request
from seatwright.views.render_notes import excerpt_notes, foreign_notes, trim_notes


@pytest.mark.parametrize(
    ("asked", "alone"),
    [
        ({"only": ("strings",), "start": 0.0, "stop": 1.0}, "strings 0-1 s alone"),
        ({"start": 2.5}, "from 2.5 s alone"),
        ({"seating": "far"}, "seating far alone"),
    ],
)
def test_a_trim_found_from_a_part_is_told(asked: dict[str, Any], alone: str) -> None:
    (note,) = trim_notes(Request(**asked), -2.23, ("renders/first", -2.82))
    assert note.startswith(f"trim -2.23 dB was found from {alone}; --trim -2.82 is that of renders")
    (note,) = trim_notes(Request(**asked), -2.23, None)
    assert "trim of the whole scene with --trim" in note
    assert trim_notes(Request(**asked), -2.82, ("renders/first", -2.82)) == []
    assert trim_notes(Request(trim_db=-2.23, **asked), -2.23, ("renders/first", -2.82)) == []


def test_the_trim_of_a_whole_render_needs_no_note() -> None:
    assert trim_notes(Request(stems=True), -2.23, ("renders/first", -2.82)) == []


@pytest.mark.parametrize(("stop", "told"), [(None, 0), (1.0, 0), (5.4022, 0), (5.41, 1), (1e3, 1)])
def test_an_end_behind_the_end_is_told(stop: float | None, told: int) -> None:
    notes = excerpt_notes(Request(stop=stop), 5.40219)
    assert len(notes) == told
    assert all(f"found an end at {stop:g} s, but all is over after 5.40 s" in n for n in notes)


def test_files_of_others_are_named() -> None:
    assert foreign_notes([]) == []
    assert foreign_notes(["mix.wav", "stems/a.wav"]) == [
        "left as it is, not from this render: mix.wav, stems/a.wav"
    ]
    assert foreign_notes(list("abcdefghij"))[0].endswith("g, h and 2 more")
