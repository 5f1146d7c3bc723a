"""Decay curves: what is built against what is predicted, and both against plain sums."""

from __future__ import annotations

from math import dist, exp, log10

import numpy as np
import pytest

from seatwright.acoustics.decay_curves import (
    LOWEST_DB,
    hall_decays,
    middle_seat,
    predicted_level,
)
from seatwright.acoustics.room import room_of
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.hall import Hall, Size
from seatwright.stage.seats import Source

ROOM = room_of(Hall(size=Size(width=22.0, depth=34.0, height=15.0), reverberation=1.8))
SOURCE = Source((2.0, 5.0, 1.2), 180.0, "horn")
PLACE = (0.5, -7.0, 1.5)
DECAYS = hall_decays(ROOM, "horn", SOURCE, PLACE, "here")


def test_decays_are_of_the_octaves_from_125_hz_to_8_khz() -> None:
    assert [each.band for each in DECAYS.bands] == list(BAND_NAMES[1:8])
    assert (DECAYS.seat, DECAYS.where) == ("horn", "here")
    assert DECAYS.distance == pytest.approx(dist(SOURCE.position, PLACE))


@pytest.mark.parametrize("number", range(7))
def test_what_is_built_decays_as_predicted(number: int) -> None:
    band = DECAYS.bands[number]
    assert band.predicted_seconds == ROOM.reverberation[number + 1]
    assert band.t30 == pytest.approx(band.predicted_seconds, rel=0.05 if number > 1 else 0.08)
    gap = np.abs(np.subtract(band.level_db, band.predicted_db))
    assert gap[np.array(band.level_db) > -40.0].max() < 2.0
    assert gap.max() > 0.05  # one is not drawn from the other


@pytest.mark.parametrize("number", range(7))
def test_curves_fall_from_the_direct_sound_to_their_end(number: int) -> None:
    band = DECAYS.bands[number]
    assert band.seconds[0] == 0.0 and len(band.seconds) == len(band.level_db) == 120
    assert np.all(np.diff(band.seconds) > 0.0) and np.all(np.diff(band.level_db) <= 0.0)
    assert -3.5 < band.level_db[0] <= 0.0
    assert LOWEST_DB <= band.level_db[-1] < LOWEST_DB + 2.0


def test_a_prediction_is_the_diffuse_part_of_everything() -> None:
    """Barron and Lee (1988): 31200 T/V exp(-0.04 r/T) of diffuse to 100/r^2 of direct sound."""
    time, distance = ROOM.reverberation[4], 12.0
    diffuse = 31_200.0 * time / ROOM.volume * exp(-0.04 * distance / time)
    direct = 100.0 / distance**2
    wanted = 10.0 * log10(diffuse / (diffuse + direct))
    assert predicted_level(ROOM, distance, 4, 0.0) == pytest.approx(wanted, abs=0.05)
    later = predicted_level(ROOM, distance, 4, 0.5 * time)
    assert later == pytest.approx(predicted_level(ROOM, distance, 4, 0.0) - 30.0, abs=1e-4)
    assert predicted_level(ROOM, 0.5, 4, 0.0) < -10.0


def test_an_instrument_does_not_colour_the_halls_decay() -> None:
    other = Source(SOURCE.position, 90.0, "flute")
    assert hall_decays(ROOM, "horn", other, PLACE, "here") == DECAYS


def test_a_dead_room_still_has_curves() -> None:
    dead = Hall.model_validate(
        {
            "size": {"width": 8, "depth": 10, "height": 5},
            "surfaces": {
                side: {"absorption": 0.999}
                for side in ("floor", "ceiling", "left", "right", "upstage", "rear")
            },
        }
    )
    source = Source((1.0, 2.0, 1.2), 180.0, "flute")
    for band in hall_decays(room_of(dead), "a", source, (0.0, -1.0, 1.5), "here").bands:
        assert np.all(np.isfinite(band.predicted_db)) and np.all(np.isfinite(band.level_db))


def test_the_middle_seat_is_next_to_the_middle_and_not_at_the_place() -> None:
    sources = {
        name: Source((x, 5.0, 1.2), 180.0, "horn")
        for name, x in {"left": -6.0, "near": 0.4, "right": 5.0}.items()
    }
    assert middle_seat(sources, (0.0, -7.0, 1.5)) == "near"
    assert middle_seat(sources, (0.4, 5.0, 1.3)) == "right"
    assert middle_seat({"near": sources["near"]}, (0.4, 5.0, 1.3)) == ""
