"""Image sources against a point mirrored wall by wall, and against pyroomacoustics' own images."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyroomacoustics
import pytest

from seatwright.acoustics.reflections import Arrivals, arrivals_at, image_sources
from seatwright.acoustics.room import Room, room_of
from seatwright.stage.hall import Hall, Surfaces
from seatwright.stage.seats import Source

REFERENCES = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "rooms.toml").read_text("utf-8")
)
COUNTS = REFERENCES["images"]["up_to_order"]
STATISTICS = REFERENCES["statistics"]

RATE = 48_000
PLACE = (-1.31, 2.17, 1.62)
RECEIVER = (2.23, -3.41, 2.71)
FAR = 130.0
"""Metres: beyond every image of order 10 of the lopsided room."""


def walls(room: Room) -> list[tuple[int, float]]:
    """Axis and coordinate of floor, ceiling, left, right, upstage and rear."""
    (x0, y0, z0), (width, depth, height) = room.low_corner, room.size
    return [(2, z0), (2, z0 + height), (0, x0), (0, x0 + width), (1, y0 + depth), (1, y0)]


def mirrored_points(
    room: Room, point: tuple[float, float, float], order: int
) -> dict[tuple[float, ...], tuple[int, ...]]:
    """Mirror a point at wall after wall; each place once, with the hits of the shortest way."""
    found = {tuple(np.round(point, 7)): (0,) * 6}
    latest = dict(found)
    for _ in range(order):
        latest = {place: hits for place, hits in _mirrored_once(room, latest) if place not in found}
        found |= latest
    return found


def _mirrored_once(
    room: Room, points: dict[tuple[float, ...], tuple[int, ...]]
) -> Iterator[tuple[tuple[float, ...], tuple[int, ...]]]:
    for point, hits in points.items():
        for wall, (axis, at) in enumerate(walls(room)):
            image = list(point)
            image[axis] = round(2.0 * at - image[axis], 7)
            more = list(hits)
            more[wall] += 1
            yield tuple(image), tuple(more)


def all_arrivals(room: Room, max_order: int | None = None) -> Arrivals:
    images = image_sources(room, PLACE, FAR, max_order)
    return arrivals_at(room, Source(PLACE, 180.0, "other"), images, RECEIVER, FAR)


@pytest.mark.parametrize(("order", "count"), COUNTS)
def test_images_by_order(order: int, count: int, lopsided: Room) -> None:
    """(2N + 1)(2N^2 + 2N + 3) / 3 images of a shoebox up to order N."""
    images = image_sources(lopsided, PLACE, FAR if order <= 10 else 1.5 * FAR, order)
    assert len(images.positions) == count
    assert len(np.unique(np.round(images.positions, 6), axis=0)) == count
    assert images.orders.max(initial=0) == order


def test_positions_and_hits_are_those_of_a_point_mirrored_wall_by_wall(lopsided: Room) -> None:
    """An independent way to order 3: reflect, reflect again, keep each place once."""
    wanted = mirrored_points(lopsided, PLACE, 3)
    images = image_sources(lopsided, PLACE, FAR, 3)
    found = {
        tuple(np.round(place, 7)): tuple(hits)
        for place, hits in zip(images.positions.tolist(), images.hits.tolist(), strict=True)
    }
    ways = {tuple(np.round(place, 5)): hits for place, hits in wanted.items()}
    assert {tuple(np.round(place, 5)): hits for place, hits in found.items()} == ways
    assert len(found) == 63


def test_each_arrival_is_that_of_its_mirrored_point(lopsided: Room) -> None:
    """Delay within 0.05 sample, every band within 0.05 dB, the direction; order 3, no two walls
    alike: prod ((1 - a)(1 - s))^hits exp(-m d) / d^2 for each mirrored point by itself."""
    found = all_arrivals(lopsided, max_order=3)
    wanted = mirrored_points(lopsided, PLACE, 3)
    assert len(found.distances) == len(wanted) == 63
    absorption, scattering = np.array(lopsided.absorption), np.array(lopsided.scattering)
    seen = set()
    for place, hits in wanted.items():
        towards = np.array(place) - np.array(RECEIVER)
        distance = float(np.linalg.norm(towards))
        nearest = int(np.argmin(np.linalg.norm(
            found.directions * found.distances[:, None] - towards, axis=1
        )))  # fmt: skip
        seen.add(nearest)
        energy = np.exp(-np.array(lopsided.air) * distance) / distance**2
        for wall, times in enumerate(hits):
            energy = energy * ((1.0 - absorption[wall]) * (1.0 - scattering[wall])) ** times
        samples = (found.distances[nearest] - distance) / lopsided.speed * RATE
        assert abs(samples) < 0.05
        assert 20.0 * np.log10(found.gains[nearest]) == pytest.approx(
            10.0 * np.log10(energy), abs=0.05
        )
        assert found.directions[nearest] == pytest.approx(towards / distance, abs=1e-5)
        assert found.orders[nearest] == sum(hits)
    assert len(seen) == 63


@pytest.mark.parametrize("order", [3, 10])
def test_images_are_those_of_pyroomacoustics(order: int, lopsided: Room) -> None:
    """pyroomacoustics 0.10's positions and its damping sqrt(prod (1 - a)^hits), every band."""
    smooth = replace(lopsided, scattering=((0.0,) * 9,) * 6, air=(0.0,) * 9)
    low = np.array(smooth.low_corner)
    names = ("floor", "ceiling", "west", "east", "north", "south")
    centres = [1000.0 * 2.0**octave for octave in range(-3, 4)]
    materials = {
        name: pyroomacoustics.Material({"coeffs": list(row[1:8]), "center_freqs": centres})
        for name, row in zip(names, smooth.absorption, strict=True)
    }
    other = pyroomacoustics.ShoeBox(smooth.size, fs=16_000, materials=materials, max_order=order)
    other.add_source(np.array(PLACE) - low)
    other.add_microphone(np.array(RECEIVER) - low)
    other.image_source_model()
    theirs = other.sources[0]
    ours = all_arrivals(smooth, max_order=order)
    assert theirs.images.shape[1] == len(ours.distances)
    placed = np.array(RECEIVER) - low + ours.directions * ours.distances[:, None]
    first = np.lexsort(np.round(placed, 3).T)
    second = np.lexsort(np.round(theirs.images, 3))
    assert placed[first] == pytest.approx(theirs.images.T[second], abs=1e-3)  # theirs: float32
    gains = ours.gains[first, 1:8] * ours.distances[first, None]
    damping = theirs.damping[: len(centres), second].T
    assert 20.0 * np.log10(gains) == pytest.approx(20.0 * np.log10(damping), abs=0.01)
    assert np.ptp(20.0 * np.log10(damping)) > 10.0


def test_reach_leaves_out_nothing_nearer(lopsided: Room) -> None:
    """All images within the reach: as many as when far more are made and the far ones dropped."""
    reach = 60.0
    images = image_sources(lopsided, PLACE, reach)
    near = arrivals_at(lopsided, Source(PLACE, 0.0, "other"), images, RECEIVER, reach)
    everything = all_arrivals(lopsided)
    assert len(near.distances) == np.count_nonzero(everything.distances <= reach) > 1000
    assert np.sort(near.distances) == pytest.approx(
        np.sort(everything.distances[everything.distances <= reach])
    )


def test_images_fill_space_evenly(lopsided: Room) -> None:
    """Kuttruff: 4 pi c^3 t^2 / V arrivals a second, so (4/3) pi r^3 / V within r."""
    distances = all_arrivals(lopsided).distances
    for radius in (70.0, 90.0, 110.0):
        count = np.count_nonzero(distances <= radius)
        assert count == pytest.approx(4.0 / 3.0 * np.pi * radius**3 / lopsided.volume, rel=0.02)
        rate = np.count_nonzero((distances > 0.9 * radius) & (distances <= 1.1 * radius))
        seconds = 0.2 * radius / lopsided.speed
        density = 4.0 * np.pi * lopsided.speed**3 * (radius / lopsided.speed) ** 2
        assert rate / seconds == pytest.approx(density / lopsided.volume, rel=0.03)


def test_worked_hall_has_its_free_path_and_its_density() -> None:
    """30 x 20 x 15 m: 13.33 m between hits and 563 reflections a second at 0.1 s (Kuttruff);
    counted over 40 pairs from 80 to 120 ms, whose mean density is 1.3 % higher (t^2): 5 %."""
    hall = Hall(size={"width": 20, "depth": 30, "height": 15}, temperature=19.7)
    room = room_of(hall)
    assert room.speed == pytest.approx(343.0, abs=0.1)
    generator, low = np.random.default_rng(6), np.array(room.low_corner)
    places = low + np.array(room.size) * generator.uniform(0.05, 0.95, (40, 2, 3))
    count, reach = 0, 0.12 * room.speed
    for source, receiver in places.tolist():
        images = image_sources(room, tuple(source), reach)
        one = Source(tuple(source), 0.0, "other")
        heard = arrivals_at(room, one, images, tuple(receiver), reach)
        count += int(np.count_nonzero(heard.distances > 0.08 * room.speed))
    wanted = STATISTICS["reflections_a_second_at_100_ms"] * (1.0 + 0.04 / 3.0)
    assert count / 40.0 / 0.04 == pytest.approx(wanted, rel=0.05)
    far = image_sources(room, tuple(places[0, 0].tolist()), 400.0)
    heard = arrivals_at(room, Source(tuple(places[0, 0].tolist()), 0.0, "other"), far, PLACE, 400.0)
    late = heard.distances > 300.0
    path = np.sum(heard.distances[late]) / np.sum(heard.orders[late])
    assert path == pytest.approx(STATISTICS["mean_free_path"], rel=0.02)


def test_energy_of_images_decays_as_eyring_says(
    uniform_surfaces: Callable[[float, float], Surfaces],
) -> None:
    """Per image: (1 - a)^n with n the hits met in c t S / 4V on the mean (mean free path)."""
    hall = Hall(surfaces=uniform_surfaces(0.25, 0.0))
    room = replace(room_of(hall), air=(0.0,) * 9)
    reach = 300.0
    images = image_sources(room, PLACE, reach)
    heard = arrivals_at(room, Source(PLACE, 0.0, "other"), images, RECEIVER, reach)
    far = heard.distances > 200.0
    free_path = np.sum(heard.distances[far]) / np.sum(heard.orders[far])
    assert free_path == pytest.approx(4.0 * room.volume / room.areas.sum(), rel=0.03)


def test_direct_sound_is_there_however_far() -> None:
    room = replace(room_of(Hall()), mixing_time=0.01)
    images = image_sources(room, PLACE, 1.0)
    heard = arrivals_at(room, Source(PLACE, 0.0, "other"), images, RECEIVER, 1.0)
    assert heard.distances == pytest.approx([np.linalg.norm(np.subtract(PLACE, RECEIVER))])
    assert heard.orders.tolist() == [0]


def test_a_surface_that_scatters_everything_sends_nothing_back(lopsided: Room) -> None:
    rough = replace(lopsided, scattering=((1.0,) * 9, *lopsided.scattering[1:]))
    images = image_sources(rough, PLACE, FAR, 2)
    heard = arrivals_at(rough, Source(PLACE, 0.0, "other"), images, RECEIVER, FAR)
    hit = images.hits[:, 0] > 0
    level = 20.0 * np.log10(heard.gains * heard.distances[:, None])
    assert np.isfinite(heard.gains).all()
    assert level[hit].max() < -110.0
    assert level[~hit].min() > -40.0
