"""Colour: gains are reached, nothing rings before, noise follows the same curve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import minimum_phase

from seatwright.acoustics.band_weights import amplitude_weights
from seatwright.acoustics.colour import filter_taps, minimum_phase_filters, smooth_curve
from seatwright.acoustics.impulse_response import (
    Grid,
    early_responses,
    microphone_arrivals,
    tail_responses,
)
from seatwright.acoustics.room import room_of
from seatwright.stage.bands import OCTAVE_BANDS
from seatwright.stage.hall import Hall
from seatwright.stage.microphones import Microphone
from seatwright.stage.seats import Source

RATE = 48_000
BELL = np.array([[1.0, 1.0, 1.0, 1.1, 1.6, 3.0, 4.0, 4.2, 4.2], [1.0] * 8 + [0.2]])
PLACE = (0.0, 8.0, 1.2)
OMNI = Microphone("m", "tree", (0.0, -1.0, 3.2), 1.0, (0.0, 1.0, 0.0), (1.0, 0.0))


def spectrum(signal: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    time = np.arange(signal.shape[-1]) / RATE
    return np.abs(signal @ np.exp(-2j * np.pi * time[:, None] * frequency))


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_gains_stand_at_the_mid_bands(rate: int) -> None:
    filters = minimum_phase_filters(BELL, rate)
    time = np.arange(filters.shape[1]) / rate
    found = np.abs(filters @ np.exp(-2j * np.pi * time[:, None] * np.array(OCTAVE_BANDS)))
    assert 20 * np.abs(np.log10(found / BELL)).max() < 0.15


def test_filters_agree_with_an_independent_minimum_phase() -> None:
    """scipy.signal.minimum_phase of a long linear-phase filter with the same squared size."""
    taps, frequency = 16_383, np.arange(8192) * RATE / 16_383
    size = np.exp(np.log(BELL[0]) @ amplitude_weights(frequency))
    linear = np.roll(np.fft.irfft(size**2, n=taps), taps // 2)
    theirs = minimum_phase(linear, method="homomorphic", n_fft=2**18)[: filter_taps(RATE)]
    ours = minimum_phase_filters(BELL[:1], RATE)[0]
    assert np.abs(ours - theirs).max() < 0.01 * np.abs(theirs).max()


def test_no_gain_is_no_filter() -> None:
    unit = minimum_phase_filters(np.ones((1, 9)), RATE)[0]
    assert unit[0] == pytest.approx(1.0, abs=1e-6)
    assert np.abs(unit[1:]).max() < 1e-6


@pytest.mark.parametrize("instrument", ["trumpet", "trombone", "horn", "tuba"])
def test_nothing_rings_before_a_bell(instrument: str) -> None:
    """Below -60 dB of the whole direct sound from 0.5 ms before it on."""
    room = room_of(Hall())
    arrivals = microphone_arrivals(room, Source(PLACE, 0.0, instrument), [OMNI], 0)
    begin = arrivals[0].distances[0] / room.speed
    early = early_responses(room, arrivals, Grid(RATE, 9_600, begin - 0.02), np.zeros(1))[0]
    before = early[: round((0.02 - 0.0005) * RATE)].astype(float)
    assert 10 * np.log10((before**2).sum() / (early.astype(float) ** 2).sum()) < -60.0


def test_the_direct_sound_of_a_bell_has_its_gains() -> None:
    """Against the band gains of the arrival itself, air and distance in them."""
    room = replace(room_of(Hall()), air=(0.0,) * 9)
    arrivals = microphone_arrivals(room, Source(PLACE, 100.0, "trumpet"), [OMNI], 0)
    begin = arrivals[0].distances[0] / room.speed
    early = early_responses(room, arrivals, Grid(RATE, 9_600, begin - 0.02), np.zeros(1))[0]
    found = spectrum(early.astype(float), np.array(OCTAVE_BANDS))
    assert 20 * np.abs(np.log10(found / arrivals[0].gains[0]))[:8].max() < 0.2


def test_a_tail_is_as_bright_as_all_directions_against_the_recorded_one() -> None:
    room, grid = room_of(Hall()), Grid(RATE, 48_000, 0.0)
    groups = [((OMNI,), 0.0)]
    plain, coloured = (
        tail_responses(room, grid, groups, [np.random.default_rng(4)], source)[0].astype(float)
        for source in (None, Source(PLACE, 180.0, "trumpet"))
    )
    curve = smooth_curve(tuple(1.0 / gain for gain in BELL[0]), RATE, 48_000)
    assert curve[1000] == pytest.approx(1.0 / 1.6, rel=1e-3)
    ratio = np.abs(np.fft.rfft(coloured)) ** 2
    other = np.abs(np.fft.rfft(plain)) ** 2
    around = [slice(int(0.9 * f), int(1.1 * f)) for f in (125, 1000, 4000, 8000)]
    levels = [10 * np.log10(ratio[bins].sum() / other[bins].sum()) for bins in around]
    assert levels == sorted(levels, reverse=True)
    assert levels[0] == pytest.approx(0.0, abs=0.2)
    assert levels[2] == pytest.approx(-6.0, abs=0.5)
