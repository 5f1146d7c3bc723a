"""The room against worked examples of Eyring's formula, pyrato's, and its own targets."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyrato
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.acoustics.room import Room, mixing_time, reverberation_time, room_of
from seatwright.errors import SceneError
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.hall import Hall, Surfaces
from seatwright.stage.surfaces import SurfaceTable

REFERENCES = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "rooms.toml").read_text("utf-8")
)
EYRING = REFERENCES["eyring"]
NO_AIR = (0.0,) * 9


def without_air(rows: np.ndarray) -> tuple[float, ...]:
    """T60 of the worked example's hall with absorption of shape (6, 9)."""
    width, depth, height = EYRING["size"]
    areas = np.array([width * depth] * 2 + [depth * height] * 2 + [width * height] * 2)
    return reverberation_time(width * depth * height, areas, rows, NO_AIR, EYRING["speed"])


@pytest.mark.parametrize(("absorption", "seconds"), EYRING["uniform"])
def test_eyring_of_a_uniform_hall(absorption: float, seconds: float) -> None:
    """Eyring 1930, worked example; printed with four digits."""
    assert without_air(np.full((6, 9), absorption)) == pytest.approx([seconds] * 9, rel=5e-4)


def test_eyring_of_an_absorbing_floor() -> None:
    """Area-weighted mean absorption, not Millington's sum over surfaces (which gives 1.22 s)."""
    rows = np.full((6, 9), 0.1)
    rows[0] = 0.8
    assert without_air(rows) == pytest.approx([EYRING["floor_08_rest_01"]] * 9, rel=5e-4)
    assert without_air(rows)[4] < 0.9 * REFERENCES["sabine"]["floor_08_rest_01"]


@pytest.mark.parametrize(("absorption", "seconds"), REFERENCES["sabine"]["uniform"])
def test_sabine_would_ring_longer(absorption: float, seconds: float) -> None:
    """Sabine 1922, worked example: Eyring's time over his is a / -ln(1 - a)."""
    ours = without_air(np.full((6, 9), absorption))[4]
    assert ours / seconds == pytest.approx(absorption / -np.log1p(-absorption), rel=5e-4)
    assert ours < 0.96 * seconds


@given(absorption=st.floats(0.02, 0.9))
def test_eyring_agrees_with_pyrato(absorption: float) -> None:
    """pyrato 1.1's own Eyring formula."""
    theirs = pyrato.parametric.reverberation_time_eyring(9000.0, 2700.0, absorption, 343.0)
    ours = without_air(np.full((6, 9), absorption))[4]
    assert ours == pytest.approx(float(np.squeeze(theirs)), rel=1e-3)


@given(absorption=st.floats(0.02, 0.9), loss=st.floats(1e-4, 0.05))
def test_air_drains_beside_the_walls(absorption: float, loss: float) -> None:
    """Kuttruff: decay rates add up, 1 / T = 1 / T(walls) + c m / 13.8155."""
    rows = np.full((1, 9), absorption)
    both = reverberation_time(9000.0, np.array([2700.0]), rows, (loss,) * 9, 343.0)[4]
    walls = reverberation_time(9000.0, np.array([2700.0]), rows, NO_AIR, 343.0)[4]
    assert 1.0 / both == pytest.approx(1.0 / walls + 343.0 * loss / 13.815511, rel=1e-6)


def test_critical_distance() -> None:
    """Kuttruff's 0.057 sqrt(V / T) to its rounding; pyrato's to 0.1 %."""
    wanted = REFERENCES["critical_distance"]
    room = replace(room_of(Hall()), size=(30.0, 20.0, 15.0), reverberation=(2.0,) * 9, speed=343.0)
    assert room.volume == wanted["volume"]
    assert room.critical_distance == pytest.approx(wanted["metres"], rel=0.01)
    theirs = pyrato.parametric.critical_distance(9000.0, 2.0)
    assert room.critical_distance == pytest.approx(float(theirs), rel=0.01)


@pytest.mark.parametrize("target", [0.9, 1.3, 1.9, 2.2, 3.4])
def test_target_reverberation_is_reached(target: float) -> None:
    """Mean of 500 Hz and 1 kHz (ISO 3382-1's single figure) within 0.1 %."""
    room = room_of(Hall(reverberation=target))
    assert np.mean(room.reverberation[3:5]) == pytest.approx(target, rel=1e-3)


def test_target_keeps_the_shape_over_surfaces_and_bands() -> None:
    """Every absorption exponent -ln(1 - a) is scaled by the same factor."""
    hall = Hall(reverberation=1.6)
    written = -np.log1p(-np.array(hall.absorption))
    reached = -np.log1p(-np.array(room_of(hall).absorption))
    factors = reached / written
    assert factors.max() / factors.min() == pytest.approx(1.0, rel=1e-9)
    assert abs(factors.mean() - 1.0) > 0.2  # the target does change this hall


def test_no_target_leaves_surfaces_as_written() -> None:
    hall = Hall()
    assert np.array(room_of(hall).absorption) == pytest.approx(np.array(hall.absorption))


@pytest.mark.parametrize("target", [0.06, 29.0])
def test_target_out_of_reach_names_the_range(target: float) -> None:
    with pytest.raises(SceneError) as caught:
        room_of(Hall(reverberation=target))
    (fault,) = caught.value.faults
    assert fault.key == "hall.reverberation"
    assert f"found a target of {target:g} s" in fault.what
    shortest, longest = (
        float(text) for text in fault.what.split("wanted ")[1].split(" s:")[0].split(" to ")
    )
    assert 0.05 < shortest < 0.5
    assert 5.0 < longest < 25.0
    room_of(Hall(reverberation=shortest + 0.01))
    room_of(Hall(reverberation=longest - 0.01))


def test_bounds_mean_absorption_by_the_range_it_names() -> None:
    """At the ends of the named range 2 and 90 % are absorbed at 500 Hz-1 kHz."""
    with pytest.raises(SceneError) as caught:
        room_of(Hall(reverberation=30.0))
    text = caught.value.faults[0].what.split("wanted ")[1].split(" s:")[0]
    shortest, longest = (float(part) for part in text.split(" to "))
    dead, live = (
        room_of(Hall(reverberation=shortest + 0.006)),
        room_of(Hall(reverberation=longest - 0.006)),
    )
    assert np.mean(dead.mean_absorption[3:5]) == pytest.approx(0.90, abs=0.01)
    assert np.mean(live.mean_absorption[3:5]) == pytest.approx(0.02, abs=0.001)


def test_mixing_time_is_the_root_of_the_volume() -> None:
    """Lindau et al. 2012: sqrt(V) in ms; 112.6 ms for 22 x 36 x 16 m."""
    assert mixing_time(22.0 * 36.0 * 16.0) == pytest.approx(0.11257, abs=1e-5)
    assert room_of(Hall()).mixing_time == pytest.approx(0.11257, abs=1e-5)
    assert room_of(Hall(mixing_time=0.08)).mixing_time == 0.08


def test_room_lies_where_the_hall_says() -> None:
    """Origin at the podium: x centred, y from the audience's rear wall, z from the floor."""
    room = room_of(Hall(size={"width": 20, "depth": 30, "height": 12}, podium=9.0))
    assert room.low_corner == pytest.approx((-10.0, -21.0, 0.0))
    assert room.size == (20.0, 30.0, 12.0)
    assert room.areas == pytest.approx([600, 600, 360, 360, 240, 240])


def test_published_surfaces_ring_as_a_hall_does() -> None:
    """Measured in Pori (Merimaa, Peltonen, Lokki 2005): T falls to .72 at 4 kHz, .47 at 8 kHz."""
    times = dict(zip(BAND_NAMES, room_of(Hall(reverberation=2.0)).reverberation, strict=True))
    assert 0.6 < times["4k"] / times["1k"] < 0.95
    assert 0.35 < times["8k"] / times["1k"] < 0.6


@given(factor=st.floats(1.01, 3.0), absorption=st.floats(0.03, 0.3), scattering=st.floats(0.0, 1.0))
def test_more_absorption_rings_shorter(factor: float, absorption: float, scattering: float) -> None:
    def room(share: float) -> Room:
        table = SurfaceTable(absorption=share, scattering=scattering)
        return room_of(Hall(surfaces=Surfaces(rear=table, ceiling=table)))

    shorter, longer = room(absorption * factor), room(absorption)
    assert all(
        one < other for one, other in zip(shorter.reverberation, longer.reverberation, strict=True)
    )


def test_scattering_does_not_change_the_decay(
    uniform_surfaces: Callable[[float, float], Surfaces],
) -> None:
    smooth = room_of(Hall(surfaces=uniform_surfaces(0.2, 0.0)))
    rough = room_of(Hall(surfaces=uniform_surfaces(0.2, 0.9)))
    assert smooth.reverberation == rough.reverberation
