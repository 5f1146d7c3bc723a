"""K-weighted gain and middle octaves from one transform, against slower ways to both."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.acoustics.measures import clarity, energy
from seatwright.acoustics.spectral_figures import MiddleOctaves, spectral_figures

RATE = 48_000


def pulse(gain: float, frames: int = 9_600, at: int = 100) -> np.ndarray:
    response = np.zeros((1, 2, frames), dtype=np.float32)
    response[0, 0, at] = gain
    return response


def figures(responses: np.ndarray, rate: int) -> tuple[float, MiddleOctaves]:
    power, middle, _ = spectral_figures(responses, responses[:, :, :1] * 0.0, rate)
    return power, middle


def test_power_of_a_pulse_is_its_square_and_of_silence_nothing() -> None:
    power, middle = figures(pulse(0.5), RATE)
    assert power == pytest.approx(0.25, rel=1e-5)
    assert np.abs(middle.responses).max() > 0.0
    assert figures(np.zeros((2, 2, 9_600), dtype=np.float32), RATE)[0] == 0.0


@pytest.mark.parametrize("rate", [8_000, 44_100, 96_000, 192_000])
def test_powers_of_all_rows_add_up_at_any_rate(rate: int) -> None:
    rows = np.zeros((2, 2, rate // 4), dtype=np.float32)
    rows[0, 0, 10], rows[0, 1, 20], rows[1, 1, 900] = 1.0, 0.5, 2.0
    power, _ = figures(rows, rate)
    assert power == pytest.approx(1.0 + 0.25 + 4.0, rel=1e-5)


def test_power_weighs_as_k_and_pink() -> None:
    """A filter that takes everything below 2 kHz: what is left of 1 / f under K-weighting (BS.1770
    lifts 2-16 kHz by 4 dB): (4 dB) ln(16/2) to the whole, within 3 %."""
    frames = 2**15
    frequency = np.fft.rfftfreq(frames, 1.0 / RATE)
    high = np.fft.irfft((frequency > 2_000.0).astype(float))
    response = np.zeros((1, 2, frames), dtype=np.float32)
    response[0, 0] = np.roll(high, frames // 2)
    power, _ = figures(response, RATE)
    lift = 10.0**0.4
    lows = np.geomspace(40.0, 2_000.0, 4_000)
    cut = (lows / 38.135) ** 4 / ((1.0 - (lows / 38.135) ** 2) ** 2 + (lows / 38.135 / 0.5003) ** 2)
    ratio = lows / 1_681.97
    shelf = ((1.0 - lift**0.5 * ratio**2) ** 2 + (lift**0.25 * ratio / 0.7072) ** 2) / (
        (1.0 - ratio**2) ** 2 + (ratio / 0.7072) ** 2
    )
    below = np.mean(cut * shelf) * np.log(2_000.0 / 40.0)
    assert below > 1.5
    above = lift * np.log(16_000.0 / 2_000.0)
    assert power == pytest.approx(above / (above + below), rel=0.06)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_middle_octaves_keep_energy_and_time(rate: int) -> None:
    """Energy in 353.6-1414.2 Hz, the moment of a pulse, and C80 of a decay, as at full rate
    through a band-pass of the test's own (no decay times: the filter has square edges, and what
    rings before the first sample comes round to the end some 40 dB down)."""
    frames = 2 * rate
    time = np.arange(frames) / rate
    noise = np.random.default_rng(8).standard_normal((1, 2, frames)) * np.exp(-6.9 * time / 1.2)
    responses = noise.astype(np.float32)
    _, middle = figures(responses, rate)
    spectrum = np.fft.rfft(responses.astype(float), 2 * frames)
    frequency = np.fft.rfftfreq(2 * frames, 1.0 / rate)
    spectrum[:, :, (frequency < 353.6) | (frequency >= 1414.2)] = 0.0
    wanted = np.fft.irfft(spectrum, 2 * frames)[0, :, :frames]
    found = middle.responses[0]
    assert energy(found) == pytest.approx(energy(wanted), rel=0.01)
    assert 3_000.0 < middle.rate < 5_000.0
    assert clarity(found, middle.rate) == pytest.approx(clarity(wanted, rate), abs=0.15)
    late = pulse(1.0, frames, at=rate // 2)
    _, heard = figures(late, rate)
    peak = int(np.argmax(np.abs(heard.responses[0, 0]))) / heard.rate
    assert peak == pytest.approx(0.5, abs=0.6 / heard.rate)


def test_energies_part_the_direct_sound_from_the_rest() -> None:
    """Two pulses left and one right, of which one is the direct sound: 6 and 3.01 dB apart."""
    mix = pulse(1.0)
    mix[0, 1, 150] = 0.5
    direct = mix[:, :, :400].copy()
    mix[0, 0, 5_000] = 2.0**-0.5
    _, _, energies = spectral_figures(mix, direct, RATE)
    assert energies.left / energies.right == pytest.approx(4.0, rel=1e-4)
    assert energies.left / energies.rest == pytest.approx(2.0, rel=1e-4)
    share = (1_414.2 - 353.6) / (RATE / 2.0)
    assert energies.left == pytest.approx(share, rel=0.01)
