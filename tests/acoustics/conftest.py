"""Halls, microphones and measured sets of responses that several tests of the acoustics share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import (
    Grid,
    generator_for,
    microphone_responses,
    response_seconds,
)
from seatwright.acoustics.room import Room, room_of
from seatwright.stage.hall import Hall, Surfaces
from seatwright.stage.microphones import Microphone
from seatwright.stage.seats import Source
from seatwright.stage.surfaces import SURFACE_NAMES, SurfaceTable

RATE = 48_000

SOURCES = ((-4.0, 3.0, 1.0), (0.5, 6.0, 1.2), (5.0, 9.0, 1.5))
RECEIVERS = ((-1.0, -1.0, 3.2), (1.2, 0.5, 3.2), (-3.0, -10.0, 5.0), (4.0, -15.0, 1.2))


@dataclass(frozen=True)
class Survey:
    """Whole responses between sources and omnis far apart.

    `responses` has the shape (pairs, frames), `distances` (pairs,) in metres; sample 0 stands at
    the emission.
    """

    room: Room
    rate: int
    distances: NDArray[np.float64]
    responses: NDArray[np.float32]


def _uniform(absorption: float, scattering: float) -> Surfaces:
    table = SurfaceTable(absorption=absorption, scattering=scattering)
    return Surfaces(**dict.fromkeys(SURFACE_NAMES, table))


def _omni(position: tuple[float, float, float], name: str = "omni") -> Microphone:
    return Microphone(name, "tree", position, 1.0, (0.0, 1.0, 0.0), (1.0, 1.0))


@lru_cache(maxsize=16)
def _survey(hall: Hall) -> Survey:
    room = room_of(hall)
    grid = Grid(RATE, int(RATE * response_seconds(room)), 0.0)
    omnis = tuple(_omni(place, f"omni {index}") for index, place in enumerate(RECEIVERS))
    rows, distances = [], []
    for place in SOURCES:
        generators = [generator_for(room, str(place), 0, omni.name) for omni in omnis]
        source = Source(place, 180.0, "other")
        rows.append(microphone_responses(room, source, [(omnis, 0.0)], grid, generators))
        distances += [float(np.linalg.norm(np.subtract(place, omni.position))) for omni in omnis]
    return Survey(room, RATE, np.array(distances), np.concatenate(rows))


@pytest.fixture(scope="session")
def uniform_surfaces() -> Callable[[float, float], Surfaces]:
    """Six surfaces of one absorption and one scattering."""
    return _uniform


@pytest.fixture(scope="session")
def omni() -> Callable[..., Microphone]:
    """An omni at a position, into both outputs with gain 1."""
    return _omni


@pytest.fixture(scope="session")
def survey() -> Callable[[Hall], Survey]:
    """Responses of a hall at 48 kHz over 3 sources x 4 omnis, made once for all tests."""
    return _survey


@pytest.fixture(scope="session")
def without_air() -> Callable[[Room], Room]:
    """The same room filled with air that takes nothing."""
    return lambda room: replace(room, air=(0.0,) * 9)


@pytest.fixture(scope="session")
def lopsided(uniform_surfaces: Callable[[float, float], Surfaces]) -> Room:
    """A small room in which every wall and every band differs; nothing is symmetric.

    It mixes after 0.4 s, so that its early part holds many orders.
    """
    base = room_of(Hall(size={"width": 7.1, "depth": 9.7, "height": 4.3}, podium=3.9))
    walls, bands = np.arange(6)[:, None], np.arange(9)[None, :]
    absorption = 0.08 + 0.07 * walls + 0.05 * ((2 * walls + bands) % 5)
    scattering = 0.05 + 0.06 * ((3 * walls + bands) % 7)
    return replace(
        base,
        absorption=tuple(map(tuple, absorption.tolist())),
        scattering=tuple(map(tuple, scattering.tolist())),
        mixing_time=0.4,
        handed_over=inf,
    )
