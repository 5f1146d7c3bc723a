"""Instruments: names as people write them, and numbers an orchestra can have."""

from __future__ import annotations

import pytest

from seatwright.stage.instruments import INSTRUMENTS, instrument_key, nearest_instruments


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("viola", "viola"),
        ("Violas", "viola"),
        ("celli", "cello"),
        ("Cellos", "cello"),
        ("basses", "double bass"),
        ("double_basses", "double bass"),
        ("French Horns", "horn"),
        ("cor anglais", "english horn"),
        ("tam tam", "tam-tam"),
        ("cymbals", "cymbals"),
        ("  solo   voice ", "solo voice"),
        ("timpani", "timpani"),
        ("obo", ""),
        ("", ""),
    ],
)
def test_name_is_found_however_it_is_written(written: str, name: str) -> None:
    assert instrument_key(written) == name


def test_every_instrument_answers_to_its_own_name() -> None:
    for name, instrument in INSTRUMENTS.items():
        assert instrument_key(name) == name == instrument.name
        assert instrument_key(name.upper()) == name


def test_heights_and_widths_fit_on_a_stage() -> None:
    for instrument in INSTRUMENTS.values():
        assert 0.4 <= instrument.height <= 3.0
        assert 1.0 <= instrument.width <= 10.0


def test_sections_widen_with_the_square_root_of_their_players() -> None:
    assert INSTRUMENTS["violin"].width == pytest.approx(1.2 * 14**0.5)
    assert INSTRUMENTS["oboe"].width == pytest.approx(1.2 * 2**0.5)
    assert INSTRUMENTS["harp"].width == 1.2


def test_only_horns_point_back() -> None:
    assert [name for name, kind in INSTRUMENTS.items() if kind.turned] == ["horn"]
    assert INSTRUMENTS["horn"].turned == 180


def test_unknown_name_gets_the_nearest_or_the_way_to_the_list() -> None:
    assert "oboe" in nearest_instruments("obo")
    assert "double bass" in nearest_instruments("double_bas")
    assert "lists all names" in nearest_instruments("qqqq")
