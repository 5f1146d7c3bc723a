"""Seats: two ways to write a place, sources either side, and changes that replace."""

from __future__ import annotations

from math import hypot
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from seatwright.stage.seats import Seat, SeatChange, Section, seat_sources

FLOOR = st.floats(-40, 40).filter(lambda value: abs(value) > 1e-3)


def seat(**keys: Any) -> Seat:
    return Seat(**({"stem": "a.wav", "x": 3.0, "y": 4.0} | keys))


def polar(**keys: Any) -> Seat:
    return Seat(**({"stem": "a.wav", "bearing": 30.0, "distance": 6.0} | keys))


@pytest.mark.parametrize(
    ("bearing", "place"),
    [(0, (0, 5)), (90, (5, 0)), (-90, (-5, 0)), (180, (0, -5)), (30, (2.5, 4.330127018922194))],
)
def test_bearing_is_from_upstage_and_positive_to_the_right(
    bearing: float, place: tuple[float, float]
) -> None:
    found = Seat(stem="a", bearing=bearing, distance=5).floor_place
    assert found == pytest.approx(place, abs=1e-12)


@given(x=FLOOR, y=FLOOR)
def test_both_ways_to_write_a_place_agree(x: float, y: float) -> None:
    bearing, distance = seat(x=x, y=y).polar_place
    assert seat(x=None, y=None, bearing=bearing, distance=distance).floor_place == pytest.approx(
        (x, y), abs=1e-9
    )


def test_height_is_riser_and_instrument() -> None:
    assert seat(instrument="oboe", riser=0.6).position == (3, 4, pytest.approx(1.8))
    assert seat(instrument="violas").position[2] == 1.0
    assert seat(instrument="oboe", height=2.0).position[2] == 2.0


def test_instruments_face_the_podium_and_horns_away_from_it() -> None:
    assert polar(instrument="trumpet").facing_degrees == 210
    assert polar(instrument="horn").facing_degrees == 30
    assert polar(instrument="horn", facing=-45).facing_degrees == -45


def test_width_comes_from_seat_then_players_then_instrument() -> None:
    assert seat(instrument="violin", width=3.5, players=4).source_width == 3.5
    assert seat(instrument="violin", players=4).source_width == pytest.approx(2.4)
    assert seat(instrument="violin").source_width == pytest.approx(1.2 * 14**0.5)


def test_mono_stem_is_one_source_in_the_middle() -> None:
    (source,) = seat_sources(seat(instrument="celli"), 1)
    assert source.position == seat(instrument="celli").position
    assert source.instrument == "cello"


@given(x=FLOOR, y=FLOOR, width=st.floats(0.1, 8))
def test_stereo_sources_lie_square_to_the_line_from_the_podium(
    x: float, y: float, width: float
) -> None:
    left, right = (source.position for source in seat_sources(seat(x=x, y=y, width=width), 2))
    assert left[0] <= right[0]
    across = (right[0] - left[0], right[1] - left[1])
    assert hypot(*across) == pytest.approx(width)
    assert abs(across[0] * x + across[1] * y) < 1e-9 * width * hypot(x, y) + 1e-12
    assert ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2) == pytest.approx((x, y), abs=1e-9)


def test_section_is_the_family_unless_written() -> None:
    assert seat(instrument="bassoon").section_name == "woodwinds"
    assert seat(instrument="bassoon", section="low").section_name == "low"
    assert seat().section_name == "support"


def test_stems_are_always_a_tuple() -> None:
    assert seat(stem="a").stems == ("a",)
    assert seat(stem=["a", "b"]).stems == ("a", "b")


@pytest.mark.parametrize(
    "keys",
    [
        {"x": None},
        {"y": None},
        {"bearing": 1},
        {"bearing": 1, "distance": 2},
        {"x": None, "y": None, "bearing": 1},
        {"x": None, "y": None, "distance": 1},
        {"x": None, "y": None, "treatment": "placed"},
        {"x": None, "y": None, "treatment": "blended"},
        {"x": None, "treatment": "untouched"},
        {"instrument": "kazoo"},
        {"stem": []},
        {"stem": ""},
        {"stem": "a\nb"},
        {"stem": ["a", "b\0"]},
        {"section": "a/b"},
        {"section": "a\x1bb"},
        {"gain": 61},
        {"gain": float("nan")},
        {"gain": "loud"},
        {"mute": 1},
        {"players": 0},
        {"players": 2.0},
        {"riser": -0.1},
        {"treatment": "wet"},
        {"perspectives": {"tree": "0"}},
        {"colour": 1},
    ],
)
def test_what_no_seat_can_be_is_refused(keys: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        seat(**keys)


def test_untouched_seat_needs_no_place_nor_does_one_whose_section_may_be() -> None:
    assert Seat(stem="a", treatment="untouched").floor_place == (0, 0)
    assert Seat(stem="a", section="support").x is None


def test_change_replaces_only_what_it_names() -> None:
    changed = seat(gain=-2.0, riser=0.4).changed(SeatChange(riser=0.8, mute=True))
    assert changed == seat(gain=-2.0, riser=0.8, mute=True)


def test_change_to_the_other_kind_of_place_moves_the_seat() -> None:
    assert polar().changed(SeatChange(x=1, y=2)).floor_place == (1, 2)
    assert seat().changed(SeatChange(bearing=90, distance=2)).floor_place == pytest.approx((2, 0))


def test_half_a_change_keeps_the_other_half_of_the_place() -> None:
    turned = seat().changed(SeatChange(bearing=0))
    assert turned.floor_place == pytest.approx((0, 5), abs=1e-12)
    moved = polar().changed(SeatChange(x=-1))
    assert moved.floor_place == pytest.approx((-1, 6 * 0.75**0.5))


def test_change_cannot_hold_both_kinds_or_a_stem() -> None:
    with pytest.raises(ValidationError, match="found x and bearing"):
        SeatChange(x=1, bearing=2)
    with pytest.raises(ValidationError):
        SeatChange.model_validate({"stem": "other.wav"})


def test_section_defaults_are_heard() -> None:
    balance = Section().perspectives.model_dump(exclude_none=True)
    assert balance["tree"] == 0
    assert "head" not in balance
