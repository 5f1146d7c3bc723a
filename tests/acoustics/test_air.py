"""Air against the table of ISO 9613-1, another implementation, and its ceiling on decay."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyfar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.acoustics.air import (
    DB_PER_NEPER_OF_ENERGY,
    air_attenuation,
    air_loss,
    speed_of_sound,
)
from seatwright.acoustics.room import room_of
from seatwright.stage.bands import OCTAVE_BANDS
from seatwright.stage.hall import Hall, Surfaces

REFERENCES = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "air.toml").read_text("utf-8")
)
EXACT_MIDDLES = 1000.0 * 10.0 ** (0.3 * np.arange(-4, 4))
"""ISO 266 base-ten mid-bands, 63 Hz to 8 kHz, at which ISO 9613-1 tabulates."""


@pytest.mark.parametrize("row", REFERENCES["attenuation"], ids=lambda row: str(row["humidity"]))
def test_attenuation_is_that_of_the_standard(row: dict) -> None:
    """ISO 9613-1 table 1, printed with three digits."""
    found = 1000.0 * air_attenuation(EXACT_MIDDLES, row["temperature"], row["humidity"])
    assert found == pytest.approx(row["decibels_per_kilometre"], rel=0.005)


@given(
    temperature=st.floats(-10.0, 45.0), humidity=st.floats(15.0, 95.0), hertz=st.floats(50.0, 1e4)
)
def test_attenuation_agrees_with_pyfar(temperature: float, humidity: float, hertz: float) -> None:
    """pyfar 0.8's own implementation of ISO 9613-1 (dB/m), over the standard's range."""
    theirs, *_ = pyfar.constants.air_attenuation(temperature, np.array([hertz]), humidity / 100.0)
    ours = float(air_attenuation(hertz, temperature, humidity))
    assert ours == pytest.approx(float(np.squeeze(theirs)), rel=2e-3)


def test_speed_of_sound() -> None:
    assert speed_of_sound(20.0) == pytest.approx(REFERENCES["speed"]["at_20"], abs=1e-9)
    assert speed_of_sound(0.0) == pytest.approx(REFERENCES["speed"]["at_0"], abs=0.1)


def test_loss_is_the_energy_exponent_of_the_attenuation() -> None:
    """10 lg exp(-m d) over 1 km is the attenuation in dB/km."""
    loss = np.array(air_loss(20.0, 50.0))
    kilometre = -10.0 * np.log10(np.exp(-loss * 1000.0))
    assert kilometre == pytest.approx(1000.0 * air_attenuation(OCTAVE_BANDS, 20.0, 50.0))
    assert abs(DB_PER_NEPER_OF_ENERGY - 4.342945) < 1e-6


@pytest.mark.parametrize("absorption", [1e-6, 0.005, 0.05, 0.3])
@pytest.mark.parametrize("size", [(60.0, 80.0, 30.0), (200.0, 200.0, 100.0), (5.0, 7.0, 3.0)])
def test_no_hall_rings_longer_than_air_allows(
    absorption: float,
    size: tuple[float, float, float],
    uniform_surfaces: Callable[[float, float], Surfaces],
) -> None:
    """Ceilings from ISO 9613-1: even walls that absorb next to nothing leave 1.66 s at 8 kHz."""
    width, depth, height = size
    hall = Hall(
        size={"width": width, "depth": depth, "height": height},
        surfaces=uniform_surfaces(absorption, 0.2),
    )
    times = dict(zip(OCTAVE_BANDS, room_of(hall).reverberation, strict=True))
    ceiling = REFERENCES["ceiling"]
    assert times[4000.0] < ceiling["at_4k"] * 1.005
    assert times[8000.0] < ceiling["at_8k"] * 1.005
    assert times[16000.0] < ceiling["at_16k"] * 1.005


def test_the_ceiling_is_reached_by_a_hall_that_absorbs_nothing(
    uniform_surfaces: Callable[[float, float], Surfaces],
) -> None:
    hall = Hall(
        size={"width": 200, "depth": 200, "height": 100}, surfaces=uniform_surfaces(1e-9, 0.0)
    )
    found = room_of(hall).reverberation[7]
    assert found == pytest.approx(REFERENCES["ceiling"]["at_8k"], rel=0.005)
