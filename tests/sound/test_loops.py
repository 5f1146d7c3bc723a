"""Loops: circular renders are the steady state, sums stay exact, the densest stretch is found."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from seatwright.sound.loops import (
    LoopSum,
    closed_loop,
    densest_stretch,
    heard_loop,
    heard_stretch,
    level_noise,
    loop_frames,
    stretch_of,
)


def noise(seed: int, *shape: int) -> NDArray[np.float32]:
    return np.random.default_rng(seed).standard_normal(shape, dtype=np.float32)


def db(signal: NDArray[np.floating], against: NDArray[np.floating]) -> float:
    """RMS of a signal against another's."""
    return float(20.0 * np.log10(np.sqrt(np.mean(signal**2) / np.mean(against**2)) + 1e-20))


@pytest.mark.parametrize(
    ("frames", "taps"), [(6_000, 1_500), (6_000, 6_000), (4_000, 9_500), (2_187, 1)]
)
@pytest.mark.parametrize("channels", [1, 2])
def test_a_loop_sounds_as_it_does_after_many_rounds(frames: int, taps: int, channels: int) -> None:
    loop, responses = noise(1, channels, frames), noise(2, channels, 2, taps)
    heard = heard_loop(loop, responses)
    rounds = 2 + -(-taps // frames)
    played = np.tile(loop.astype(np.float64), rounds)
    expected = sum(
        fftconvolve(played[channel][None, :], responses[channel].astype(np.float64), axes=1)
        for channel in range(channels)
    )[:, (rounds - 1) * frames : rounds * frames]
    assert heard.shape == (2, frames)
    assert heard.dtype == np.float32
    assert db(heard - expected, expected) < -125.0
    assert db(expected, noise(3, 2, frames)) > 0.0


@pytest.mark.parametrize("first", [0, 700, 5_900, 6_100])
@pytest.mark.parametrize(("taps", "length"), [(1, 300), (1_500, 300), (9_500, 900), (800, 6_000)])
@pytest.mark.parametrize("channels", [1, 2])
def test_a_stretch_is_a_part_of_the_loop(first: int, taps: int, length: int, channels: int) -> None:
    loop, responses = noise(5, channels, 6_000), noise(6, channels, 2, taps)
    stretch = heard_stretch(loop, responses, first, length)
    expected = np.roll(heard_loop(loop, responses), -first, axis=1)[:, :length]
    assert stretch.shape == (2, length)
    assert db(stretch - expected, expected) < -120.0
    assert db(expected, noise(7, 2, length)) > -20.0


def test_a_stretch_of_a_sum_has_the_other_loop_in_it() -> None:
    held = LoopSum(500)
    parts = {name: noise(8 + number, 2, 500) for number, name in enumerate("abc")}
    for name, part in parts.items():
        held.put(name, part)
    other = noise(20, 2, 500)
    stretch = held.stretch_with("b", stretch_of(other, 450, 120), 450, 0.25)
    held.put("b", other)
    np.testing.assert_allclose(stretch, stretch_of(held.scaled(0.25), 450, 120), atol=1e-6)
    alone = held.stretch_with("d", np.ones((2, 40), np.float32), 10, 2.0)
    np.testing.assert_allclose(alone, 2.0 * (held.total[:, 10:50] + 1.0), atol=1e-5)


def test_a_stretch_is_closed_with_what_follows_it() -> None:
    music = np.arange(130, dtype=np.float32)[None, :] + 1.0
    loop = closed_loop(music, 100)
    assert loop.shape == (1, 100)
    np.testing.assert_array_equal(loop[:, 30:], music[:, 30:100])
    # right after the end the music goes on almost as it would have
    assert loop[0, 0] == pytest.approx(101.0, abs=2.0)
    assert loop[0, 29] == pytest.approx(30.0, abs=2.0)


def test_music_that_is_a_loop_already_stays_as_it_is() -> None:
    once = noise(4, 2, 500)
    closed = closed_loop(np.tile(once, 2)[:, :600], 500)
    np.testing.assert_allclose(closed, once, atol=1e-6)


def test_a_sum_after_a_hundred_changes_is_the_sum_from_nothing() -> None:
    rng = np.random.default_rng(5)
    held = LoopSum(4_000)
    for number in range(140):
        name = f"seat {rng.integers(40)}"
        gain = np.float32(10.0 ** rng.uniform(-4.0, 1.0))
        held.put(name, None if number % 17 == 16 else gain * noise(number, 2, 4_000))
    anew = held.from_nothing()
    assert len(held.names) > 20
    assert db(held.total - anew, anew) < -250.0
    assert db(held.scaled(0.5) - 0.5 * anew, anew) < -140.0
    assert db(anew, noise(6, 2, 4_000)) > 0.0


def test_taking_everything_out_leaves_silence() -> None:
    held = LoopSum(100)
    held.put("a", noise(1, 2, 100))
    held.put("a", noise(2, 2, 100))
    held.put("a", None)
    held.put("a", None)
    assert held.names == ()
    assert np.abs(held.total).max() < 1e-12


def test_lengths_are_quick_to_transform_and_hardly_longer() -> None:
    assert loop_frames(720_000) == 720_000
    for wanted in (2, 719_999, 661_501, 100_003):
        assert wanted <= loop_frames(wanted) <= 1.03 * wanted


def test_the_densest_stretch_is_where_most_sound() -> None:
    silent, low = np.full(100, -np.inf), np.full(100, -90.0)
    early, middle, late = silent.copy(), silent.copy(), silent.copy()
    early[5:60], middle[40:70], late[45:90] = -30.0, -35.0, -20.0
    begin = densest_stretch([early, middle, late, low], 15)
    assert begin == 45
    loud = early.copy()
    loud[20:30] = -10.0
    assert densest_stretch([loud, silent], 10) == 20  # of equally dense ones the loudest
    assert densest_stretch([early], 100) == 0
    assert densest_stretch([], 10) == 0


def test_noise_for_the_level_falls_with_frequency_and_has_no_seam() -> None:
    rate = 16_000
    made = level_noise(4 * rate, rate, 0.05)
    np.testing.assert_array_equal(made[0], made[1])
    assert np.sqrt(np.mean(made[0] ** 2)) == pytest.approx(0.05, rel=1e-3)
    power = np.abs(np.fft.rfft(made[0])) ** 2
    octaves = [power[4 * low : 8 * low].sum() for low in (100, 400, 1_600)]
    assert max(octaves) / min(octaves) < 1.1
    steps = np.abs(np.diff(np.concatenate([made[0], made[0][:1]])))
    assert steps[-1] <= steps[:-1].max()
    assert np.abs(level_noise(rate, rate, 3.0)).max() == pytest.approx(0.5, rel=1e-4)
