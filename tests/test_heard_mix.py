"""Conflicts in a check: stems whose answer is known, and moves that keep their promise."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from seatwright.check import check
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


def test_a_move_by_bearing_keeps_its_promise(pair: Any) -> None:
    """A new scene with the move written into it hears the seat where it was told, half as hidden.

    The share itself may differ: the earliest arrival moves, and with it all other seats' tails.
    """
    band(pair, "loud", 800, 1200, -35.5, 2)
    ((conflict, move),) = told(pair, seat("soft", 10), seat("loud", 14)).conflicts
    assert move.key == "bearing" and move.before == 10.0
    again = told(pair, seat("soft", move.value), seat("loud", 14))
    shares = [each.share for each, _ in again.conflicts if each.hidden == "soft"]
    assert max(shares, default=0.0) <= 0.5 * conflict.share
    figures = {row.seat: row.figures for row in again.seats}["soft"]
    assert figures is not None and figures.heard_bearing == move.heard_bearing


def test_moves_stay_inside_and_off_other_seats(pair: Any) -> None:
    """Where the seat that helps is taken, another is proposed."""
    band(pair, "loud", 800, 1200, -35.5, 2)
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
    """Alone in its section it may cross the stage; with a mate at 5 degrees it may not."""
    band(pair, "loud", 800, 1200, -35.5, 2)
    pair.stem("mate.wav", np.zeros((3200, 1)))
    free = told(pair, seat("soft", 10), seat("loud", 14)).conflicts[0][1]
    assert free.key == "bearing" and abs(free.value - 10.0) > 20.0
    mate = seat("mate", 5, 6.0).replace('section = "mate"', 'section = "soft"')
    ((conflict, kept),) = told(pair, seat("soft", 10), seat("loud", 14), mate).conflicts
    assert conflict.hidden == "soft"
    assert kept.key == "gain" and kept.share <= 0.5 * conflict.share


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
    assert move.key == "" and "no move helps" in check_table(found)
    facts = json.loads(found.as_json(), parse_constant=pytest.fail)
    assert facts["conflicts"][0]["move"] is None


def test_threads_change_nothing_and_headers_only_leaves_it_out(pair: Any) -> None:
    pair.write(seat("soft", 10) + seat("loud", 14), hall=HALL)
    one, two = (check(pair.scene, threads=count) for count in (1, 2))
    assert one.as_json() == two.as_json()
    brief = check(pair.scene, headers_only=True)
    assert (brief.conflicts, brief.fold_down, brief.stems) == ((), None, ())
