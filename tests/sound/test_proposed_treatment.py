"""Proposed treatments: wet stems are blended, ringing instruments get the benefit of the doubt."""

from __future__ import annotations

from math import nan

import pytest

from seatwright.sound.proposed_treatment import proposed_treatment, rings
from seatwright.sound.room_in_stem import RoomEstimate

ROOM = RoomEstimate("room", 1.84, 0.1, 30, 9, 0.8, 0.8, "30 decays fall alike")
DRY = RoomEstimate("dry", 0.12, 0.02, 30, 9, 0.9, 1.0, "30 decays fall fast")
UNSURE = RoomEstimate("unsure", nan, nan, 2, 1, 0.0, 0.0, "only 2 clean decays were found")


@pytest.mark.parametrize(
    "instrument", ["violas", "horn", "choir", "snare drum", "organ", "brass", ""]
)
def test_a_room_is_blended_and_its_time_told(instrument: str) -> None:
    treatment, why = proposed_treatment(ROOM, instrument)
    assert treatment == "blended"
    assert why == "it has a room of about 1.8 s: 30 decays fall alike"


@pytest.mark.parametrize("instrument", ["harp", "Timpani", "glockenspiel", "piano", "percussion"])
def test_what_rings_by_itself_is_placed_with_a_doubt(instrument: str) -> None:
    treatment, why = proposed_treatment(ROOM, instrument)
    assert treatment == "placed"
    assert "may ring that long by itself" in why
    assert ROOM.why in why


@pytest.mark.parametrize("instrument", ["violas", "harp", "strings"])
def test_without_a_certain_room_it_is_placed(instrument: str) -> None:
    assert proposed_treatment(DRY, instrument) == ("placed", "dry: 30 decays fall fast")
    treatment, why = proposed_treatment(UNSURE, instrument)
    assert treatment == "placed"
    assert UNSURE.why in why
    assert "choose blended if you hear one" in why


def test_low_support_is_untouched() -> None:
    assert proposed_treatment(ROOM, "low support")[0] == "untouched"
    assert proposed_treatment(ROOM, "support")[0] == "blended"


def test_names_and_families() -> None:
    assert rings("keyboards") and rings("cymbals") and rings("Harps")
    assert not any(map(rings, ["strings", "xylophone", "organ", "no such thing", "woodwinds"]))
