"""D50, centre time, strength and octave energies: closed forms, and beside pyrato's."""

from __future__ import annotations

from math import exp, inf, isnan, log10

import numpy as np
import pyfar
import pyrato
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.energy_measures import (
    centre_time,
    definition,
    octave_energies,
    octaves_of,
    pulse_energies,
    strength,
)
from seatwright.acoustics.measures import clarity, decay_time, energy, octave_filtered

RATE = 48_000
DECAY = 13.815511
SECONDS = (0.5, 1.0, 2.0, 3.0)


def decay(seconds: float, rate: int = RATE) -> NDArray[np.float64]:
    time = (np.arange(round(1.5 * seconds * rate)) + 0.5) / rate
    return np.exp(-0.5 * DECAY * time / seconds)


def noisy(seconds: float, seed: int) -> NDArray[np.float64]:
    response = np.random.default_rng(seed).standard_normal(round(1.5 * seconds * RATE))
    response *= decay(seconds)
    response[0] = 1.1 * np.abs(response).max()  # a direct sound for either to begin at
    return response


@pytest.mark.parametrize("seconds", SECONDS)
def test_exact_decays_have_the_closed_forms(seconds: float) -> None:
    """D50 = 1 - exp(-13.8155 * .05 / T), Ts = T / 13.8155: to a thousandth."""
    response = decay(seconds)
    wanted = 1.0 - exp(-DECAY * 0.05 / seconds)
    assert definition(response, RATE) == pytest.approx(wanted, rel=1e-3)
    assert centre_time(response, RATE) == pytest.approx(seconds / DECAY, rel=1e-3)


@pytest.mark.parametrize("seconds", SECONDS)
def test_figures_of_noise_are_those_of_pyrato(seconds: float) -> None:
    """pyrato 1.1: D50 within 1 %, C80 within 0.05 dB, on one and the same decaying noise."""
    response = noisy(seconds, 7)
    curve = pyrato.edc.schroeder_integration(pyfar.Signal(response, RATE))
    theirs = float(np.squeeze(pyrato.parameters.definition(curve, early_time_limit=50)))
    assert definition(response, RATE) == pytest.approx(theirs, rel=0.01)
    theirs = float(np.squeeze(pyrato.parameters.clarity(curve, early_time_limit=80)))
    assert clarity(response, RATE) == pytest.approx(theirs, abs=0.05)


@pytest.mark.parametrize("seconds", SECONDS)
def test_centre_time_and_strength_are_those_of_pyrato(seconds: float) -> None:
    """pyrato 1.1: Ts within 0.5 %, G within 0.1 dB, in the octave of 1 kHz of a decaying noise."""
    response = 0.01 * noisy(seconds, 8)
    curve = pyrato.edc.schroeder_integration(pyfar.Signal(response, RATE))
    theirs = float(np.squeeze(pyrato.parameters.center_time(curve)))
    assert centre_time(response, RATE) == pytest.approx(theirs, rel=5e-3)
    reference = np.zeros(len(response))
    reference[RATE // 5] = 0.1  # 1 at 1 m is a tenth at 10 m
    padded = np.concatenate([np.zeros(RATE // 5), response])
    curves = [
        pyrato.edc.schroeder_integration(pyfar.Signal(octave_filtered(each, RATE, 4), RATE))
        for each in (padded, reference)
    ]
    theirs = float(np.squeeze(pyrato.parameters.sound_strength(*curves)))
    heard = octave_energies(response[None, :], RATE, (4,))[0, 0]
    assert strength(heard, pulse_energies(RATE, (4,))[0]) == pytest.approx(theirs, abs=0.1)


def test_figures_count_from_the_direct_sound() -> None:
    late = np.concatenate([np.zeros(3_000), decay(1.2)])
    for measure in (definition, centre_time, lambda r, rate: decay_time(r, rate, "EDT")):
        assert measure(late, RATE) == pytest.approx(measure(decay(1.2), RATE), rel=1e-6)
    assert centre_time(late, RATE, 2_520) == pytest.approx(centre_time(late, RATE) + 0.01)
    early = definition(late, RATE, 3_000 - 960)
    assert early == pytest.approx(1.0 - exp(-DECAY * 0.03 / 1.2), rel=1e-3)


def test_silence_has_no_figures() -> None:
    assert isnan(definition(np.zeros(100), RATE))
    assert isnan(centre_time(np.zeros(100), RATE))
    assert strength(0.0, 1.0) == -inf


@pytest.mark.parametrize("metres", [1.0, 5.0, 10.0, 40.0])
def test_strength_of_a_free_field(metres: float) -> None:
    """ISO 3382-1, A.2: 20 lg(10 / r), 0 dB at 10 m, in every octave."""
    bands = tuple(range(1, 8))
    pulse = np.zeros((1, RATE // 4))
    pulse[0, 4_000] = 1.0 / metres
    heard = octave_energies(pulse, RATE, bands)[0]
    levels = [strength(*pair) for pair in zip(heard, pulse_energies(RATE, bands), strict=True)]
    assert levels == pytest.approx([20.0 * log10(10.0 / metres)] * 7, abs=0.01)


def test_strength_of_a_diffuse_field() -> None:
    """Barron and Lee 1988: 31 200 T / V at r = 0 (10 lg); noise of 4 pi c / V exp(-13.8155 t / T)
    per second in every octave: 0.3 dB."""
    volume, seconds, speed = 12_000.0, 2.0, 343.2
    time = np.arange(round(1.5 * seconds * RATE)) / RATE
    power = 4.0 * np.pi * speed / volume * np.exp(-DECAY * time / seconds) / RATE
    rows = np.random.default_rng(2).standard_normal((4, len(time))) * np.sqrt(power)
    bands = (3, 4, 5, 6)
    heard = octave_energies(rows, RATE, bands).mean(axis=0)
    levels = [strength(*pair) for pair in zip(heard, pulse_energies(RATE, bands), strict=True)]
    assert levels == pytest.approx([10.0 * log10(31_200.0 * seconds / volume)] * 4, abs=0.3)


@pytest.mark.parametrize("rate", [12_000, 36_000, 44_100, 48_000])
def test_octaves_at_their_own_rate_keep_energy_and_decay(rate: int) -> None:
    """Against the octave filter at the full rate: energy to 0.1 %, T30 to 0.5 %, Ts to 0.5 ms."""
    bands = tuple(range(1, 8)) if rate > 30_000 else tuple(range(1, 6))
    noise = np.random.default_rng(5).standard_normal(2 * rate)
    noise *= np.exp(-0.5 * DECAY * np.arange(2 * rate) / rate / 1.3)
    response = np.concatenate([np.zeros(rate // 5), noise])
    energies = octave_energies(response[None, :], rate, bands)[0]
    for band, octave, whole in zip(
        bands, octaves_of(response, rate, rate // 5, bands), energies, strict=True
    ):
        wanted = octave_filtered(response, rate, band)
        assert energy(octave.signal) == pytest.approx(whole, rel=1e-3)
        assert whole == pytest.approx(energy(wanted), rel=5e-3)
        times = (
            decay_time(octave.signal, octave.rate, "T30", octave.start),
            decay_time(wanted, rate, "T30", rate // 5),
        )
        assert times[0] == pytest.approx(times[1], rel=5e-3)
        centres = (
            centre_time(octave.signal, octave.rate, octave.start),
            centre_time(wanted, rate, rate // 5),
        )
        assert centres[0] == pytest.approx(centres[1], abs=2e-3 if band == 1 else 5e-4)


def test_a_pulse_stays_where_it_is() -> None:
    pulse = np.zeros(RATE)
    pulse[20_000] = 1.0
    for octave in octaves_of(pulse, RATE, 20_000, tuple(range(1, 8))):
        assert energy(octave.signal[octave.start - 3 : octave.start + 4]) > 0.5 * energy(
            octave.signal
        )
        assert abs(centre_time(octave.signal, octave.rate, octave.start)) <= 0.6 / octave.rate
