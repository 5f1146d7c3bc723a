"""Directivity: power kept, smooth in direction, turned by `facing`, passed on to reflections."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.directivity import radiation, recorded_gains
from seatwright.acoustics.radiation_table import RADIATION
from seatwright.acoustics.reflections import arrivals_at, image_sources
from seatwright.acoustics.room import room_of
from seatwright.stage.hall import Hall, Surfaces
from seatwright.stage.instruments import INSTRUMENTS
from seatwright.stage.seats import Seat, Source, seat_sources

EVEN = ("percussion", "low support", "other")
DIRECTED = sorted(INSTRUMENTS.keys() - set(EVEN))
PLACE = (1.7, 4.1, 1.3)
RECEIVER = (-2.4, -6.3, 2.2)


def toward(bearing: float, elevation: float = 0.0) -> NDArray[np.float64]:
    turned, rise = np.radians(bearing), np.radians(elevation)
    ground = np.cos(rise)
    return np.array([np.sin(turned) * ground, np.cos(turned) * ground, np.sin(rise)])


def levels(instrument: str, facing: float, directions: NDArray[np.float64]) -> NDArray[np.float64]:
    return 20.0 * np.log10(radiation(Source(PLACE, facing, instrument), directions))


@pytest.mark.parametrize("instrument", INSTRUMENTS)
@pytest.mark.parametrize("facing", [0.0, 73.0])
def test_power_over_the_sphere_is_one_in_every_band(instrument: str, facing: float) -> None:
    """Gauss-Legendre in height, even in azimuth."""
    z, share = np.polynomial.legendre.leggauss(64)
    turn = 2.0 * np.pi * np.arange(128) / 128
    ground = np.sqrt(1.0 - z**2)[:, None]
    heights = np.broadcast_to(z[:, None], (64, 128))
    directions = np.stack([ground * np.sin(turn), ground * np.cos(turn), heights], axis=2)
    gains = radiation(Source(PLACE, facing, instrument), directions)
    assert gains.shape == (64, 128, 9)
    power = np.einsum("zab,z->b", gains**2, share / 2.0) / 128
    assert power == pytest.approx(np.ones(9), rel=1e-6)


@pytest.mark.parametrize("instrument", EVEN)
def test_what_is_not_known_radiates_alike_all_round(instrument: str) -> None:
    directions = np.random.default_rng(4).normal(size=(5, 7, 3))
    directions /= np.linalg.norm(directions, axis=2, keepdims=True)
    gains = radiation(Source(PLACE, 40.0, instrument), directions)
    assert gains.shape == (5, 7, 9)
    assert (gains == 1.0).all()


@pytest.mark.parametrize("instrument", DIRECTED)
def test_patterns_are_smooth_over_direction(instrument: str) -> None:
    """Around any great circle, through the middle of every lobe and exactly behind it: at most
    1 dB a degree, no corner sharper than 0.1 dB a degree squared."""
    row, angles = RADIATION[instrument], np.radians(np.arange(361.0))
    circles = [(toward(lobe.azimuth, lobe.elevation), lobe) for lobe in row.lobes]
    for axis, lobe in circles:
        side = toward(lobe.azimuth, lobe.elevation - 90.0)
        circle = np.cos(angles)[:, None] * axis + np.sin(angles)[:, None] * side
        level = levels(instrument, 0.0, circle)
        assert np.abs(np.diff(level, axis=0)).max() < 1.0
        assert np.abs(np.diff(level, n=2, axis=0)).max() < 0.1
        assert np.ptp(level, axis=0).max() > 0.5


@pytest.mark.parametrize("instrument", DIRECTED)
def test_patterns_change_steadily_from_band_to_band(instrument: str) -> None:
    """At most 13.5 dB from an octave to the next in any direction, on average over the sphere at
    most 7 dB: what is between mid-bands can be interpolated."""
    rng = np.random.default_rng(11)
    directions = rng.normal(size=(4000, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    level = levels(instrument, 0.0, directions)
    steps = np.abs(np.diff(level, axis=1))
    assert steps.max() < 13.5
    assert steps.mean(axis=0).max() < 7.0
    assert np.ptp(level[:, 0]) < np.ptp(level[:, 5])


@pytest.mark.parametrize("instrument", ["violin", "horn", "flute", "piano"])
def test_facing_turns_the_whole_pattern_clockwise_seen_from_above(instrument: str) -> None:
    bearings, rises = np.arange(0.0, 360.0, 15.0), (-50.0, 0.0, 35.0)
    for rise in rises:
        straight = np.array([toward(bearing, rise) for bearing in bearings])
        turned = np.array([toward(bearing + 117.0, rise) for bearing in bearings])
        found = levels(instrument, 117.0, turned)
        assert found == pytest.approx(levels(instrument, 0.0, straight), abs=1e-6)
    ring = np.array([toward(bearing) for bearing in bearings])
    assert np.abs(levels(instrument, 117.0, ring) - levels(instrument, 0.0, ring)).max() > 1.0


def test_an_unknown_instrument_is_a_mistake() -> None:
    with pytest.raises(KeyError, match="kazoo"):
        radiation(Source(PLACE, 0.0, "kazoo"), toward(0.0))


def seated(instrument: str, bearing: float) -> Source:
    seat = Seat(stem="a.wav", instrument=instrument, bearing=bearing, distance=6.0)
    return seat_sources(seat, 1)[0]


def test_a_seated_horn_sends_its_sound_away_from_the_podium() -> None:
    """A seat straight upstage faces the audience; its bell points upstage and to the player's
    right, which is the audience's left: loudest 30 degrees left of straight upstage."""
    source = seated("horn", 0.0)
    ring = np.array([toward(bearing) for bearing in range(-180, 180)])
    level = 20.0 * np.log10(radiation(source, ring))[:, 4:]
    assert (np.argmax(level, axis=0) - 180 == -30).all()
    assert (level[180] - level[0]).min() > 9.0  # the podium is at index 0
    assert (level[180 - 60] - level[180 + 60]).min() > 3.0


@pytest.mark.parametrize("instrument", ["trumpet", "trombone", "bass trombone", "soprano"])
@pytest.mark.parametrize("bearing", [-40.0, 0.0, 25.0])
def test_seated_trumpets_trombones_and_singers_sound_towards_the_podium(
    instrument: str, bearing: float
) -> None:
    source = seated(instrument, bearing)
    ring = np.array([toward(angle) for angle in range(360)])
    level = 20.0 * np.log10(radiation(source, ring))[:, 5:]
    assert (np.argmax(level, axis=0) == round(bearing + 180.0)).all()
    assert (np.ptp(level, axis=0) > 6.0).all()


def test_first_violins_play_to_the_audience_and_seconds_opposite_them_upstage() -> None:
    """The top plate faces the player's right: downstage on the audience's left, upstage on its
    right, there over the player's shoulder; 2 and 4 kHz."""
    audience, upstage = toward(180.0, 10.0), toward(0.0, 10.0)
    for bearing, least, most in ((-50.0, 5.0, 8.0), (50.0, -3.0, -1.0)):
        source = seated("violin", bearing)
        ratio = radiation(source, audience)[5:7] / radiation(source, upstage)[5:7]
        level = 20.0 * np.log10(ratio)
        assert level.min() > least
        assert level.max() < most


@pytest.mark.parametrize("facing", [0.0, 180.0])
def test_each_reflection_leaves_by_the_mirror_law(
    facing: float, uniform_surfaces: Callable[[float, float], Surfaces]
) -> None:
    """A horn in a hall of equal walls: direct sound and six first reflections against the point
    where each meets its wall, found by walking from source to receiver with the heights over that
    wall in proportion; every band, 1e-6 dB."""
    room = replace(room_of(Hall(surfaces=uniform_surfaces(0.2, 0.0))), air=(0.0,) * 9)
    images = image_sources(room, PLACE, 200.0, 1)
    heard = arrivals_at(room, Source(PLACE, facing, "horn"), images, RECEIVER, 200.0)
    start, end = np.array(PLACE), np.array(RECEIVER)
    ways = [(end, float(np.linalg.norm(end - start)), 1.0)]
    for axis in range(3):
        for at in (room.low_corner[axis], room.low_corner[axis] + room.size[axis]):
            ours, theirs = abs(start[axis] - at), abs(end[axis] - at)
            point = start + (end - start) * ours / (ours + theirs)
            point[axis] = at
            way = float(np.linalg.norm(point - start) + np.linalg.norm(end - point))
            ways.append((point, way, 0.8))
    assert len(heard.distances) == len(ways) == 7
    for point, way, kept in ways:
        leaving = (point - start) / np.linalg.norm(point - start)
        (index,) = np.flatnonzero(np.abs(heard.distances - way) < 1e-6)
        wanted = levels("horn", facing, leaving) + 20.0 * np.log10(np.sqrt(kept) / way)
        wanted -= 20.0 * np.log10(recorded_gains("horn", facing))
        assert 20.0 * np.log10(heard.gains[index]) == pytest.approx(wanted, abs=1e-6)


def test_turning_a_horn_moves_its_sound_from_the_direct_way_to_the_wall() -> None:
    """Bell upstage: the first reflection from the wall behind the orchestra is stronger than the
    direct sound at 2 kHz; bell to the audience: more than 12 dB weaker."""
    room = room_of(Hall())
    source, receiver = (0.0, 7.0, 1.0), (0.0, -8.0, 2.0)
    difference = []
    for facing in (30.0, 210.0):  # the lobe stands 30 degrees to the left of it
        sound = Source(source, facing, "horn")
        heard = arrivals_at(room, sound, image_sources(room, source, 60.0, 1), receiver, 60.0)
        behind = 2.0 * (room.low_corner[1] + room.size[1]) - source[1]
        way = float(np.linalg.norm(np.subtract((0.0, behind, 1.0), receiver)))
        (wall,) = np.flatnonzero(np.abs(heard.distances - way) < 1e-6)
        difference.append(20.0 * np.log10(heard.gains[wall, 5] / heard.gains[0, 5]))
    assert difference[0] > 3.0
    assert difference[1] < -12.0


@pytest.mark.parametrize("instrument", ["trumpet", "violin", "soprano", "trombone"])
def test_a_stem_keeps_its_colour_towards_where_it_was_recorded(instrument: str) -> None:
    """It turns with its player: the gain in front is 1 in the mean at every bearing."""
    for bearing in (-50.0, 0.0, 50.0):
        source = seated(instrument, bearing)
        front = [
            toward(bearing + 180.0 + aside, rise)
            for aside in (-45.0, -30.0, -15.0, 0.0, 15.0, 30.0, 45.0)
            for rise in (0.0, 15.0, 30.0, 45.0)
        ]
        weights = np.tile(np.cos(np.radians([0.0, 15.0, 30.0, 45.0])), 7)
        ratio = radiation(source, np.array(front)) / np.array(
            recorded_gains(instrument, source.facing)
        )
        power = np.average(ratio**2, axis=0, weights=weights)
        assert power.max() == pytest.approx(1.0, abs=1e-9)
        assert power[6:] == pytest.approx(1.0, abs=1e-9)


def test_a_horn_is_recorded_by_what_the_room_returns() -> None:
    """Its bell points away: no direction in front is louder than the mean, so none counts."""
    source = seated("horn", 0.0)
    assert recorded_gains("horn", source.facing) == (1.0,) * 9
    assert 20.0 * np.log10(radiation(source, toward(180.0)))[5:].max() < -8.0
    assert recorded_gains("other", 123.0) == (1.0,) * 9
