"""Conflicts in a check: stems whose answer is known, and moves that keep their promise."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt

from seatwright.check import check
from seatwright.stage.small_moves import MOST_TURN, SECTION_REACH
from seatwright.views.check_table import Check, check_table

HALL = "[hall]\nsize = { width = 16, depth = 20, height = 8 }\nreverberation = 0.6\n"
CLOSE = "perspectives = { tree = -12, close = 0 }"


def band(stage: Any, name: str, low: float, high: float, level_db: float, seed: int) -> None:
    """Write a stem of two seconds of noise in a band at a level in dBFS."""
    sections = butter(8, (low, high), "bandpass", fs=stage.rate, output="sos")
    signal = sosfilt(sections, np.random.default_rng(seed).standard_normal((2 * stage.rate, 1)), 0)
    stage.stem(f"{name}.wav", signal * 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(signal**2)))


def seat(name: str, bearing: float, distance: float = 4.0, more: str = CLOSE) -> str:
    place = f"bearing = {bearing}\ndistance = {distance}"
    return f'[seats.{name}]\nstem = "{name}.wav"\nsection = "{name}"\n{place}\n{more}\n'


@pytest.fixture
def pair(stage: Any) -> Any:
    band(stage, "soft", 800, 1200, -42.0, 1)
    band(stage, "loud", 800, 1200, -34.0, 2)
    return stage


def told(stage: Any, *seats: str) -> Check:
    stage.write("".join(seats), hall=HALL)
    return check(stage.scene, threads=1)


def test_a_louder_stem_in_one_band_at_one_bearing_hides(pair: Any) -> None:
    found = told(pair, seat("soft", 10), seat("loud", 14))
    ((conflict, move),) = found.conflicts
    assert (conflict.hidden, conflict.masker, conflict.bands) == ("soft", "loud", ("1k",))
    assert conflict.share > 0.8 and conflict.also == ()
    assert (conflict.start, conflict.stop) == (pytest.approx(0.0, abs=0.2), pytest.approx(2.0, 0.1))
    assert 0.0 < conflict.hidden_bearing < conflict.masker_bearing < 15.0
    assert move.key and move.share <= 0.5 * conflict.share
    table = check_table(found)
    assert "Seats that others hide" in table and "The mix in mono" in table
    facts = json.loads(found.as_json(), parse_constant=pytest.fail)
    assert facts["conflicts"][0]["move"]["key"] == move.key
    assert len(facts["fold_down"]["correlation"]) == 8


def test_other_bands_and_far_bearings_do_not_hide(pair: Any) -> None:
    far = told(pair, seat("soft", -55), seat("loud", 55))
    assert all(conflict.share < 0.5 for conflict, _ in far.conflicts)
    band(pair, "loud", 3000, 4500, -32.0, 2)
    assert told(pair, seat("soft", 10), seat("loud", 14)).conflicts == ()


def test_stems_at_other_times_do_not_hide(pair: Any) -> None:
    for name, first in (("soft", True), ("loud", False)):
        signal = pair.noise(3, 2.0) * (0.3 if first else 1.0)
        half = len(signal) // 2
        signal[half:] *= 0.0 if first else 1.0
        signal[:half] *= 1.0 if first else 0.0
        pair.stem(f"{name}.wav", signal)
    assert told(pair, seat("soft", 10), seat("loud", 14)).conflicts == ()


def share_of(found: Check, name: str) -> float:
    return max((each.share for each, _ in found.conflicts if each.hidden == name), default=0.0)


def test_a_move_by_bearing_keeps_its_promise(pair: Any) -> None:
    """A new scene with the move written into it hears the seat where it was told, half as hidden.

    The share itself may differ: the earliest arrival moves, and with it all other seats' tails.
    """
    band(pair, "loud", 800, 1200, -37.0, 2)
    ((conflict, move),) = told(pair, seat("soft", 10), seat("loud", 14)).conflicts
    assert move.key == "bearing" and move.before == 10.0
    assert 0.0 < abs(move.value - 10.0) <= MOST_TURN
    again = told(pair, seat("soft", move.value), seat("loud", 14))
    assert share_of(again, "soft") <= 0.5 * conflict.share
    figures = {row.seat: row.figures for row in again.seats}["soft"]
    assert figures is not None and figures.heard_bearing == move.heard_bearing
    for less in (2.5, 5.0, 7.5, 10.0):
        assert share_of(told(pair, seat("soft", 10 - less), seat("loud", 14)), "soft") > (
            0.5 * conflict.share
        )


def test_where_no_small_turn_is_enough_the_seat_is_made_louder(pair: Any) -> None:
    """And a new scene with that gain in it keeps the promise as well."""
    band(pair, "loud", 800, 1200, -36.5, 2)
    ((conflict, move),) = told(pair, seat("soft", 10), seat("loud", 14)).conflicts
    assert (move.key, move.before) == ("gain", 0.0) and 0.0 < move.value <= 6.0
    louder = seat("soft", 10, more=f"{CLOSE}\ngain = {move.value}")
    assert share_of(told(pair, louder, seat("loud", 14)), "soft") <= 0.5 * conflict.share


def test_a_row_forward_parts_where_distance_takes_its_level(pair: Any) -> None:
    band(pair, "loud", 800, 1200, -47.5, 2)
    natural = f'{CLOSE}\nlevel = "natural"'
    found = told(pair, seat("soft", 10, 5.0, natural), seat("loud", 14))
    ((conflict, move),) = found.conflicts
    assert conflict.hidden == "soft"
    assert (move.key, move.value, move.before) == ("distance", 3.0, 5.0)
    assert "distance = 3.00 m (now 5.00)" in check_table(found)
    nearer = told(pair, seat("soft", 10, move.value, natural), seat("loud", 14))
    assert share_of(nearer, "soft") <= 0.5 * conflict.share


def test_moves_stay_inside_and_off_other_seats(pair: Any) -> None:
    """Where the seat that helps is taken, another is proposed."""
    band(pair, "loud", 800, 1200, -38.0, 2)
    pair.stem("wall.wav", np.zeros((3200, 1)))
    free = told(pair, seat("soft", 10), seat("loud", 14)).conflicts[0][1]
    assert free.key == "bearing"
    pair.write(
        seat("soft", 10) + seat("loud", 14) + seat("wall", free.value),
        hall=HALL,
    )
    taken = check(pair.scene, threads=1).conflicts[0][1]
    assert (taken.key, taken.value) != (free.key, free.value)


def test_a_seat_stays_with_its_section(pair: Any) -> None:
    """Alone in its section it may move 12 degrees; with a mate at 9 degrees it may not."""
    band(pair, "loud", 800, 1200, -38.0, 2)
    pair.stem("mate.wav", np.zeros((3200, 1)))
    free = told(pair, seat("soft", 10), seat("loud", 14)).conflicts[0][1]
    assert free.key == "bearing" and abs(free.value - 10.0) > SECTION_REACH
    mate = seat("mate", 9, 6.0).replace('section = "mate"', 'section = "soft"')
    ((conflict, kept),) = told(pair, seat("soft", 10), seat("loud", 14), mate).conflicts
    assert conflict.hidden == "soft"
    assert kept.key == "gain" and kept.share <= 0.5 * conflict.share


def test_a_move_parts_two_seats_and_does_not_swap_them(pair: Any) -> None:
    """Half of the soft stem is buried, half of it about as loud: no gain frees the one alone."""
    band(pair, "loud", 800, 1200, -36.0, 2)
    band(pair, "soft", 800, 1200, -34.5, 1)
    signal, rate = soundfile.read(pair.folder / "soft.wav")
    signal[len(signal) // 2 :] *= 10.0 ** (-10.0 / 20.0)
    soundfile.write(pair.folder / "soft.wav", signal, rate, "PCM_24")
    one = told(pair, seat("soft", 10), seat("loud", 14))
    ((conflict, move),) = one.conflicts
    assert conflict.hidden == "soft" and move.key == ""
    louder = told(pair, seat("soft", 10, more=f"{CLOSE}\ngain = 6"), seat("loud", 14))
    assert share_of(louder, "soft") <= 0.25 < share_of(louder, "loud")


def test_an_untouched_stem_hides_and_is_only_made_louder(pair: Any) -> None:
    low = '[seats.soft]\nstem = "soft.wav"\ntreatment = "untouched"\n'
    band(pair, "loud", 800, 1200, -35.0, 2)
    ((conflict, move),) = told(pair, low, seat("loud", 2)).conflicts
    assert (conflict.hidden, conflict.hidden_bearing) == ("soft", 0.0)
    assert move.key in ("gain", "")


def test_where_nothing_helps_it_is_said(pair: Any) -> None:
    band(pair, "loud", 800, 1200, -12.0, 2)
    found = told(pair, seat("soft", 10), seat("loud", 14))
    ((_, move),) = found.conflicts
    assert move.key == ""
    assert "no small move parts them: turn one down, or write them apart" in check_table(found)
    facts = json.loads(found.as_json(), parse_constant=pytest.fail)
    assert facts["conflicts"][0]["move"] is None


def test_threads_change_nothing_and_headers_only_leaves_it_out(pair: Any) -> None:
    pair.write(seat("soft", 10) + seat("loud", 14), hall=HALL)
    one, two = (check(pair.scene, threads=count) for count in (1, 2))
    assert one.as_json() == two.as_json()
    brief = check(pair.scene, headers_only=True)
    assert (brief.conflicts, brief.fold_down, brief.stems) == ((), None, ())
