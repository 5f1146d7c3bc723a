"""Drafted seats: who shares a seat, who sits beside whom, who stays open."""

from __future__ import annotations

import pytest

from seatwright.stage.draft import UNASSIGNED, DraftSeat, draft_seats, room_needed
from seatwright.stage.naming import read_names


def drafted(*names: str, layout: str = "violins-together") -> dict[str, DraftSeat]:
    return {seat.name: seat for seat in draft_seats(read_names(names), layout)}


def test_stems_of_one_part_share_a_seat() -> None:
    seats = drafted("violas legato.wav", "violas pizz.wav", "celli.L.wav", "celli.R.wav")
    assert seats["violas"].stems == ("violas legato.wav", "violas pizz.wav")
    assert seats["cellos"].stems == ("celli.L.wav", "celli.R.wav")


def test_numbered_players_sit_side_by_side() -> None:
    seats = drafted("trumpet 1.wav", "trumpet 2.wav", "trumpet 3.wav")
    places = [seats[f"trumpets {number}"].x for number in (1, 2, 3)]
    assert places == sorted(places)
    assert places[1] - places[0] == pytest.approx(places[2] - places[1])
    assert sum(seat.players for seat in seats.values()) == 3


def test_drums_share_the_percussions_area() -> None:
    seats = drafted("snare.wav", "bass drum.wav", "triangle.wav")
    assert len({(seat.x, seat.y) for seat in seats.values()}) == 3


def test_a_low_support_line_is_left_untouched() -> None:
    seat = drafted("sub bass.wav")["low support"]
    assert (seat.treatment, seat.section) == ("untouched", "support")


def test_what_nobody_explains_gets_a_seat_of_its_own_in_front() -> None:
    seats = drafted("granular pad.wav", "cor.wav", "violas.wav")
    open_seats = [seat for seat in seats.values() if seat.section == UNASSIGNED]
    assert [seat.confidence for seat in open_seats] == [0.0, 0.0]
    assert len({seat.x for seat in open_seats}) == 2
    assert all(seat.treatment == "placed" for seat in open_seats)


def test_no_stem_is_lost() -> None:
    names = ["violas.wav", "Cor.wav", "x.wav", "x (2).wav", "Violas.flac", "tuba.wav"]
    seats = draft_seats(read_names(names), "chamber")
    assert sorted(stem for seat in seats for stem in seat.stems) == sorted(names)


def test_names_in_use_are_left_alone() -> None:
    seats = draft_seats(read_names(["violas.wav"]), "chamber", frozenset({"Violas"}))
    assert seats[0].name == "violas (2)"


def test_room_is_left_behind_the_last_row() -> None:
    seats = list(drafted("soprano.wav", "tenor.wav", "trumpets.wav").values())
    side, back = room_needed(seats)
    assert back >= max(seat.y for seat in seats) + 1.0
    assert side >= max(abs(seat.x) for seat in seats) + 1.0
