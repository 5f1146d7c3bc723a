"""The engine against convolution in float64, and against itself cut in every way."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from seatwright.sound.convolution import (
    BLOCK_PER_RESPONSE,
    VOICES,
    Engine,
    ReadVoice,
    Voice,
    block_grid,
    block_ranges,
)

TAPS, FRAMES = 700, 20_000
LENGTH = FRAMES + TAPS - 1
QUIETEST = 10 ** (-120 / 20)


def reader(signal: NDArray[np.float32]) -> ReadVoice:
    def read(start: int, frames: int) -> NDArray[np.float32]:
        out = np.zeros(frames, np.float32)
        low, high = max(start, 0), min(start + frames, len(signal))
        if low < high:
            out[low - start : high - start] = signal[low:high]
        return out

    return read


def response(seed: int, taps: int = TAPS) -> NDArray[np.float32]:
    """A decaying stereo response of unit energy."""
    noise = np.random.default_rng(seed).normal(0.0, 1.0, (2, taps))
    noise *= np.exp(-6.9 * np.arange(taps) / taps)
    return (noise / np.sqrt((noise**2).sum())).astype(np.float32)


def signal(seed: int, frames: int = FRAMES) -> NDArray[np.float32]:
    noise = np.random.default_rng(seed).uniform(-0.2, 0.2, frames)
    return noise.astype(np.float32)


def voices(count: int = 7, buses: int = 3) -> list[Voice]:
    """Seven voices, the sixth of them passed through; two of every three feed a shared bus."""
    made = []
    for number in range(count):
        if number == 5:
            made.append(Voice("direct", reader(signal(number)), direct=((0, 1.0, 0.25),)))
            continue
        own = response(100 + number)
        routes = [(number % buses, own)]
        if number % 3:
            routes.append(((number + 1) % buses, own))
        made.append(Voice(f"voice {number}", reader(signal(number)), tuple(routes)))
    return made


def rendered(engine: Engine, start: int = 0, stop: int = LENGTH) -> NDArray[np.float32]:
    place, blocks = start, []
    for first, block in engine.blocks(start, stop):
        assert first == place
        assert block.dtype == np.float32
        place += block.shape[2]
        blocks.append(block)
    assert place == max(start, stop)
    return np.concatenate(blocks, axis=2)


def expected(made: list[Voice], buses: int, length: int = LENGTH) -> NDArray[np.float64]:
    out = np.zeros((buses, 2, length))
    for voice in made:
        dry = voice.read(0, length).astype(np.float64)
        for bus, taps in voice.routes:
            for channel in range(2):
                out[bus, channel] += fftconvolve(dry, taps[channel].astype(np.float64))[:length]
        for bus, left, right in voice.direct:
            out[bus] += np.outer([left, right], dry)
    return out


@pytest.fixture(scope="module")
def whole() -> NDArray[np.float32]:
    return rendered(Engine(voices(), 3, TAPS))


def test_agrees_with_convolution_in_float64(whole: NDArray[np.float32]) -> None:
    wanted = expected(voices(), 3)
    assert np.abs(wanted).max() > 0.3
    assert np.abs(whole - wanted).max() < QUIETEST
    mix = whole.sum(axis=0, dtype=np.float64)
    assert np.sqrt(np.mean((mix - wanted.sum(axis=0)) ** 2)) < QUIETEST


@pytest.mark.parametrize("taps", [1, 2, 3, 1_000, 1_638, 1_639, 5_000])
def test_responses_of_any_length(taps: int) -> None:
    made = [Voice("a", reader(signal(1)), ((0, response(2, taps)),))]
    length = FRAMES + taps - 1
    found = rendered(Engine(made, 1, taps), 0, length)
    assert np.abs(found - expected(made, 1, length)).max() < QUIETEST


def test_a_click_gives_the_response_itself() -> None:
    click = np.zeros(10, np.float32)
    click[3] = 1.0
    taps = response(4)
    found = rendered(Engine([Voice("a", reader(click), ((0, taps),))], 1, TAPS), 0, TAPS + 9)
    assert np.abs(found[0, :, 3 : 3 + TAPS] - taps).max() < QUIETEST
    assert np.abs(found[0, :, :3]).max() < QUIETEST


def test_shorter_responses_are_padded() -> None:
    made = [
        Voice("long", reader(signal(1)), ((0, response(2)),)),
        Voice("short", reader(signal(3)), ((0, response(4, 50)),)),
    ]
    assert np.abs(rendered(Engine(made, 1, TAPS)) - expected(made, 1)).max() < QUIETEST


@pytest.mark.parametrize("threads", [1, 2, 3, 16])
def test_threads_change_no_bit(whole: NDArray[np.float32], threads: int) -> None:
    for _ in range(3):
        assert np.array_equal(rendered(Engine(voices(), 3, TAPS, threads)), whole)


@given(cuts=st.lists(st.integers(0, LENGTH), max_size=6), threads=st.integers(1, 3))
@settings(max_examples=25)
def test_excerpts_are_the_whole_bit_for_bit(
    whole: NDArray[np.float32], cuts: list[int], threads: int
) -> None:
    """One engine asked for many stretches, forwards and backwards."""
    engine = Engine(voices(), 3, TAPS, threads)
    for start, stop in itertools.pairwise(cuts):
        start, stop = min(start, stop), max(start, stop)
        if start < stop:
            assert np.array_equal(rendered(engine, start, stop), whole[:, :, start:stop])


@pytest.mark.parametrize("beside", [-1, 0, 1])
@pytest.mark.parametrize("length", [1, 2, 3_000])
def test_excerpts_that_begin_and_end_beside_a_block(
    whole: NDArray[np.float32], beside: int, length: int
) -> None:
    engine = Engine(voices(), 3, TAPS)
    for edge in (engine.grid.hop, 2 * engine.grid.hop):
        for start in (edge + beside, edge + beside - length):
            found = rendered(engine, start, start + length)
            assert np.array_equal(found, whole[:, :, start : start + length])


def test_an_empty_stretch_gives_nothing() -> None:
    engine = Engine(voices(), 3, TAPS)
    assert list(engine.blocks(5, 5)) == list(engine.blocks(9, 2)) == []


@pytest.mark.parametrize("silent", [(0, 0), (6_000, 14_000), (0, FRAMES)])
def test_skipping_silence_changes_no_bit(silent: tuple[int, int]) -> None:
    def made() -> list[Voice]:
        result = voices()
        for number in (0, 1, 4):
            dry = signal(number)
            dry[silent[0] : silent[1]] = 0.0
            result[number] = Voice("gap", reader(dry), result[number].routes)
        return result

    skipped = rendered(Engine(made(), 3, TAPS, 2, skip_silence=True))
    assert np.array_equal(skipped, rendered(Engine(made(), 3, TAPS, 1, skip_silence=False)))
    assert np.abs(skipped).max() > 0.1


def test_silent_blocks_are_not_transformed(monkeypatch: pytest.MonkeyPatch) -> None:
    import scipy.fft

    dry = np.zeros(40_000, np.float32)
    dry[:100] = 0.5
    engine = Engine([Voice("a", reader(dry), ((0, response(1)),))], 1, TAPS)
    calls: list[int] = []
    real = scipy.fft.rfft
    monkeypatch.setattr(scipy.fft, "rfft", lambda *a, **k: calls.append(1) or real(*a, **k))
    found = rendered(engine, 0, 40_000)
    assert len(calls) == 1  # the one block that sounds
    assert not found[:, :, engine.grid.hop :].any()


def test_passed_through_voices_are_exact() -> None:
    dry = signal(9)
    made = [
        Voice("a", reader(dry), direct=((0, 1.0, 0.0), (1, 0.5, 1.0))),
        Voice("b", reader(np.zeros(10, np.float32)), ((0, response(1)),)),
    ]
    found = rendered(Engine(made, 2, TAPS, 2))
    assert np.array_equal(found[0, 0, :FRAMES], dry)
    assert not found[0, 1].any()
    assert np.array_equal(found[1, 0, :FRAMES], dry * np.float32(0.5))
    assert np.array_equal(found[1, 1, :FRAMES], dry)


def test_two_voices_are_the_sum_of_each() -> None:
    """Superposition holds to rounding: the error of one bus is far below the quietest step."""
    every = voices()
    both = rendered(Engine(every, 3, TAPS))
    apart = [rendered(Engine(part, 3, TAPS)) for part in (every[:3], every[3:])]
    assert np.abs(both - (apart[0].astype(np.float64) + apart[1])).max() < QUIETEST


def test_order_of_voices_changes_only_rounding(whole: NDArray[np.float32]) -> None:
    turned = rendered(Engine(voices()[::-1], 3, TAPS))
    assert np.abs(turned - whole).max() < QUIETEST


@pytest.mark.parametrize("taps", [0, 1, 2, 100, 1_638, 1_639, 4_096, 60_000, 115_200, 1_000_000])
def test_blocks_are_long_enough_and_quick_to_transform(taps: int) -> None:
    grid = block_grid(taps)
    assert grid.length >= BLOCK_PER_RESPONSE * taps
    assert grid.length >= 4_096
    assert grid.length <= 1.5 * max(4_096, BLOCK_PER_RESPONSE * taps)
    assert grid.hop + grid.history == grid.length
    assert grid.hop > grid.history
    rest = grid.length
    for prime in (2, 3, 5, 7, 11):
        while rest % prime == 0:
            rest //= prime
    assert rest == 1


def test_reads_come_in_rising_order_and_once() -> None:
    asked: list[tuple[int, int]] = []

    def noted(read: ReadVoice) -> Callable[[int, int], NDArray[np.float32]]:
        def wrapped(start: int, frames: int) -> NDArray[np.float32]:
            asked.append((start, frames))
            return read(start, frames)

        return wrapped

    engine = Engine([Voice("a", noted(reader(signal(1))), ((0, response(1)),))], 1, TAPS, 3)
    rendered(engine)
    place = -engine.grid.history
    for start, frames in asked:
        assert start == place
        place += frames


def test_a_reader_that_fails_stops_the_render() -> None:
    def broken(start: int, frames: int) -> NDArray[np.float32]:
        if start > 5_000:
            raise ValueError("stem broke")
        return np.ones(frames, np.float32)

    for made in (
        [Voice("a", broken, ((0, response(1)),))],
        [Voice("a", broken, direct=((0, 1.0, 1.0),))],
    ):
        with pytest.raises(ValueError, match="stem broke"):
            rendered(Engine(made, 1, TAPS, 2))


def test_more_voices_than_one_group_holds() -> None:
    count = 2 * VOICES + 1
    made = [
        Voice(str(number), reader(signal(number)), ((0, response(number)),))
        for number in range(count)
    ]
    assert np.abs(rendered(Engine(made, 1, TAPS)) - expected(made, 1)).max() < QUIETEST


@pytest.mark.parametrize("rendered_groups", [(0,), (1,), (2,), (0, 2), (1, 2)])
def test_a_group_s_buses_do_not_depend_on_other_groups(rendered_groups: tuple[int, ...]) -> None:
    """Voices 0-4, 5-7 and 8-13: none of them ends where `VOICES` would cut a row of them all."""
    sizes = (5, 3, 6)
    every = [number for number, size in enumerate(sizes) for _ in range(size)]

    def voices_of(groups: tuple[int, ...]) -> list[Voice]:
        rows = {group: row for row, group in enumerate(groups)}
        return [
            Voice(str(n), reader(signal(n)), ((rows[group], response(n)),), group=group)
            for n, group in enumerate(every)
            if group in rows
        ]

    together = rendered(Engine(voices_of((0, 1, 2)), 3, TAPS, 2))
    alone = rendered(Engine(voices_of(rendered_groups), len(rendered_groups), TAPS, 2))
    assert np.array_equal(alone, together[list(rendered_groups)])


@pytest.mark.parametrize(("start", "stop"), [(0, LENGTH), (37, LENGTH - 5), (4000, 4001)])
def test_blocks_are_cut_as_they_are_said_to_be(start: int, stop: int) -> None:
    made = [Voice("a", reader(signal(1)), ((0, response(1)),))]
    found = [
        (first, first + block.shape[2])
        for first, block in Engine(made, 1, TAPS).blocks(start, stop)
    ]
    assert found == list(block_ranges(TAPS, start, stop))
