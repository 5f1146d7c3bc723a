"""Free decays: exact slopes, what ends a fall, what is left out, and what a bend is."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.sound.band_envelopes import BAND_EDGES, STEP_SECONDS, EnvelopeMeter, Envelopes
from seatwright.sound.free_decays import falls, fitted_line, free_decays

RATE = 48_000


def ramp(seconds_for_60: float, depth: float, start: float = 0.0) -> np.ndarray:
    """A straight fall in dB, in steps of 10 ms."""
    steps = round(depth * seconds_for_60 / 60.0 / STEP_SECONDS)
    return start - np.arange(steps + 1) * 60.0 * STEP_SECONDS / seconds_for_60


@pytest.mark.parametrize("seconds", [0.2, 0.5, 1.3, 3.0, 7.0])
def test_a_straight_fall_has_its_slope(seconds: float) -> None:
    line = fitted_line(ramp(seconds, 40.0).astype(np.float32))
    assert line is not None
    found, span, crooked, bend = line
    assert found == pytest.approx(seconds, rel=1e-3)
    assert 30.0 < span < 40.0
    assert crooked < 1e-3
    assert bend == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("drop", [6.0, 12.0, 20.0])
def test_a_drop_ahead_of_the_slope_is_left_out(drop: float) -> None:
    """Direct sound stops within 40 ms, the room goes on at 1.5 s."""
    fall = np.concatenate([np.linspace(0, -drop, 4), ramp(1.5, 30.0, -drop - 0.4)])
    line = fitted_line(fall.astype(np.float32))
    assert line is not None
    assert line[0] == pytest.approx(1.5, rel=0.06)


def test_bend_tells_faster_and_faster_from_slower_and_slower() -> None:
    time = np.linspace(0.0, 1.0, 101)
    sagging, hanging = -40.0 * time**1.6, -40.0 * time**0.8
    bends = [fitted_line(fall.astype(np.float32))[3] for fall in (sagging, hanging)]  # type: ignore[index]
    assert bends[0] < 0.8
    assert bends[1] > 1.1


def test_falls_survive_ripples_and_end_at_the_next_note() -> None:
    down = ramp(1.0, 30.0)
    rippled = down + np.where(np.arange(len(down)) % 2, 3.0, -3.0)
    shallow = [ramp(0.5, 12.0), [-1.0, -17.0]]  # 12 and 16 dB deep
    levels = np.concatenate([np.full(5, -30.0), rippled, [0.0, 0.0], *shallow])
    found = falls(levels.astype(np.float32))
    assert len(found) == 1
    peak, valley = found[0]
    assert peak == 6
    assert levels[valley] == rippled.min()


def test_too_little_to_fit() -> None:
    assert fitted_line(np.array([0.0, -20.0, -40.0], np.float32)) is None
    assert free_decays(Envelopes(np.full((9, 50), -140.0, np.float32))).start.size == 0
    assert free_decays(Envelopes(np.zeros((9, 0), np.float32))).start.size == 0


def test_a_band_far_below_the_loudest_is_not_trusted() -> None:
    levels = np.full((9, 400), -140.0, np.float32)
    levels[4, 50:150] = np.linspace(-20, -60, 100)
    levels[5, 50:150] = np.linspace(-40, -80, 100)
    levels[6, 50:150] = np.linspace(-75, -105, 100)
    assert set(free_decays(Envelopes(levels)).band) == {4, 5}


@pytest.mark.parametrize("rate", [16_000, 44_100, 48_000, 96_000])
def test_a_decaying_noise_has_its_time_in_every_band(rate: int) -> None:
    seconds, frames = 0.8, rate
    rng = np.random.default_rng(4)
    decay = np.exp(-6.9078 * np.arange(frames) / rate / seconds)
    noise = (0.1 * rng.standard_normal((frames, 2)) * decay[:, None]).astype(np.float32)
    meter = EnvelopeMeter(rate, 2)
    meter.add(np.concatenate([np.zeros((rate // 2, 2), np.float32), noise]))
    decays = free_decays(meter.envelopes)
    within = sum(high <= rate / 2 for _, high in BAND_EDGES)
    assert within == (9 if rate > 40_000 else 8)
    assert set(decays.band) == set(range(within))
    assert np.median(decays.seconds) == pytest.approx(seconds, rel=0.08)
    assert np.median(np.abs(decays.start - 0.5)) < 0.05


def test_levels_are_those_of_a_tone_and_cuts_change_nothing() -> None:
    """A sine of amplitude 0.1 has a power of -23.01 dB, all of it in the octaves around 1 kHz."""
    tone = (0.1 * np.sin(2 * np.pi * 1008.0 * np.arange(RATE) / RATE)).astype(np.float32)[:, None]
    whole, cut = EnvelopeMeter(RATE, 1), EnvelopeMeter(RATE, 1)
    whole.add(tone)
    for first, last in ((0, 1), (1, 700), (700, 20_011), (20_011, 20_011), (20_011, RATE)):
        cut.add(tone[first:last])
    levels = whole.envelopes.levels
    assert np.array_equal(levels, cut.envelopes.levels)
    assert np.allclose(levels[2:5, 10:90], -23.01, atol=0.1)
    assert levels[[0, 6, 7, 8], 10:90].max() < -60.0
