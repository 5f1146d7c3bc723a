"""The tail as a noise: Gaussian, as loud as stated, its own for each seat, coherent as diffuse."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import Grid, generator_for, tail_responses
from seatwright.acoustics.measures import octave_filtered
from seatwright.acoustics.room import Room, room_of
from seatwright.acoustics.tail import (
    diffuse_spectra,
    image_share,
    room_grids,
    scattered_share,
    tail_energy,
)
from seatwright.stage.bands import BAND_NAMES, OCTAVE_BANDS
from seatwright.stage.hall import Hall, Surfaces
from seatwright.stage.microphones import Microphone

if TYPE_CHECKING:
    from conftest import Survey

RATE = 48_000


@pytest.fixture(scope="module")
def room(uniform_surfaces: Callable[[float, float], Surfaces]) -> Room:
    return room_of(Hall(surfaces=uniform_surfaces(0.3, 0.5)))


def tails(
    room: Room,
    microphones: tuple[Microphone, ...],
    seat: str = "seat",
    delay: float = 0.0,
    grid: Grid | None = None,
) -> NDArray[np.float32]:
    noise = [generator_for(room, seat, 0, each.name) for each in microphones]
    return tail_responses(room, grid or Grid(RATE, 24_000, 0.0), [(microphones, delay)], noise)


@pytest.mark.parametrize("origin", [0.0, 0.04])
def test_energy_per_second_is_as_stated(origin: float, room: Room) -> None:
    """Mean power of 400 tails in the middle of every octave against 4 pi c / V exp(-13.8155 t / T)
    times what scattering took, before and after the mixing time: within 0.3 dB.

    In the octave of 63 Hz and 0.1 s there are 4 independent values a tail, 1500 in all: 0.11 dB.
    """
    rows, length = 400, 32_000
    generators = [np.random.default_rng([9, row]) for row in range(rows)]
    spectra = diffuse_spectra(room, RATE, length, np.full(rows, origin), generators)
    frequency = np.arange(length // 2 + 1) * RATE / length
    windows = [(0.05, 0.11), (0.13, 0.23), (0.25, 0.35)]
    for band, middle in enumerate(OCTAVE_BANDS):
        low, high = middle * 2.0**-0.4, min(middle * 2.0**0.4, 23_000.0)
        inside = (frequency >= low) & (frequency < high)
        signal = np.fft.irfft(spectra * inside, length, axis=1)
        share = inside.sum() / (length // 2)
        for start, end in windows:
            if (end * 60.0 / room.reverberation[band]) > 60.0:
                continue
            first, last = (round((edge - origin) * RATE) for edge in (start, end))
            time = origin + np.arange(first, last) / RATE
            wanted = float(np.mean(tail_energy(room, time, band))) * share / RATE
            found = float(np.mean(signal[:, first:last] ** 2))
            error = 10.0 * np.log10(found / wanted)
            assert abs(error) < 0.3, (BAND_NAMES[band], start, error)


def test_stated_energy_is_that_of_barron(room: Room) -> None:
    """Barron and Lee 1988: 4 pi c / V at first, 60 dB less after T; what scattering drained grows
    as 1 - (1 - s)^(c t S / 4 V) up to the mixing time; nothing before the source sounds."""
    time = room.reverberation[4]
    level = 4.0 * np.pi * room.speed / room.volume
    after = tail_energy(room, np.array([time, 2.0 * time]), 4)
    assert 10.0 * np.log10(after / level) == pytest.approx([-60.0, -120.0], abs=1e-6)
    hits = room.speed * 0.05 * room.areas.sum() / (4.0 * room.volume)
    assert scattered_share(room, np.array([0.05]), 4) == pytest.approx([1.0 - 0.5**hits])
    assert tail_energy(room, np.array([-0.01, -1e-9]), 4).tolist() == [0.0, 0.0]
    smooth = replace(room, scattering=((0.0,) * 9,) * 6)
    early = tail_energy(smooth, np.array([0.5 * room.mixing_time]), 4)
    assert early.tolist() == [0.0]
    assert tail_energy(smooth, np.array([1.01 * room.mixing_time]), 4)[0] > 0.0


def test_tail_takes_what_images_lose_by_fading(room: Room) -> None:
    """Barron's 4 pi c / V exp(-13.8155 t / T) is shared out at every time: images keep f (1 - s)^n
    of it, the tail has the rest; f is 1 up to four fifths of the mixing time and 0 at its end."""
    time = np.linspace(0.0, 1.5 * room.mixing_time, 301)
    whole = (
        4.0 * np.pi * room.speed / room.volume * np.exp(-13.815511 * time / room.reverberation[4])
    )
    share = image_share(room, time, 4)
    images = whole * share * (1.0 - scattered_share(room, time, 4))
    assert images + tail_energy(room, time, 4) == pytest.approx(whole, rel=1e-6)
    assert share[time <= 0.8 * room.mixing_time].min() == 1.0
    assert np.abs(share[time >= room.mixing_time]).max() < 1e-12
    assert np.diff(share).max() <= 0.0
    assert np.diff(share).min() > -0.06


def kurtosis(rows: NDArray[np.float64]) -> float:
    centred = rows - rows.mean(axis=-1, keepdims=True)
    return float(np.mean(np.mean(centred**4, axis=-1) / np.mean(centred**2, axis=-1) ** 2))


@pytest.mark.parametrize("start", [0.2, 0.5, 1.0, 1.5])
def test_whole_responses_end_as_gaussian_noise(
    start: float, survey: Callable[[Hall], Survey]
) -> None:
    """Kurtosis 3 of late windows of 60 ms, 125 Hz up, mean of 12 responses: 2.7 to 3.5. Images
    carried on that far are spiky: 8 to 25 in a shoebox without a tail."""
    heard = survey(Hall())
    spectrum = np.fft.rfft(heard.responses.astype(float), axis=1)
    spectrum[:, np.fft.rfftfreq(heard.responses.shape[1], 1.0 / RATE) < 125.0] = 0.0
    signal = np.fft.irfft(spectrum, heard.responses.shape[1], axis=1)
    first = round(start * RATE)
    assert 2.7 < kurtosis(signal[:, first : first + round(0.06 * RATE)]) < 3.5


@pytest.mark.parametrize("keys", [{}, {"reverberation": 1.2}, {"type": "large-concert-hall"}])
def test_responses_fall_to_their_end(
    keys: dict[str, object], survey: Callable[[Hall], Survey]
) -> None:
    """The last 0.4 s before the fade, mean power of 12 responses of omnis: every 100 ms below the
    100 ms before, and at three quarters of the slowest octave's 60 dB / T at least. (A tail is
    periodic: the ringing of its loud start must not come round to its end. Noise that stops at
    half the rate at once rings so: there the large hall rises by 14 dB a second.)"""
    heard = survey(Hall(**keys))
    frames = heard.responses.shape[1]
    end, step = frames - round(0.03 * RATE), round(0.1 * RATE)
    windows = heard.responses[:, end - 4 * step : end].astype(float).reshape(-1, 4, step)
    levels = 10.0 * np.log10(np.mean(windows**2, axis=(0, 2)))
    assert np.diff(levels).max() < 0.0, levels
    slope = np.polyfit(0.1 * np.arange(4), levels, 1)[0]
    assert slope < -0.75 * 60.0 / max(heard.room.reverberation), levels


@pytest.mark.parametrize("rate", [12_000, 44_100, 48_000])
def test_noise_fades_just_below_half_the_rate(rate: int) -> None:
    """Whole up to eleven twelfths of half the rate and nothing at it, at any rate."""
    grids = room_grids(room_of(Hall()), rate, rate)
    squares = np.zeros(rate // 2 + 1)
    for grid in grids:
        squares[grid.first : grid.first + grid.bins] += grid.weight.astype(float) ** 2
    whole = int(rate / 2 * 11 / 12)
    assert squares[100:whole] == pytest.approx(1.0, abs=1e-6)
    assert np.diff(squares[whole:]).max() <= 0.0
    assert squares[rate // 2 - 2] < 1e-6


def test_no_echo_sticks_out_of_the_tail(omni: Callable[..., Microphone], room: Room) -> None:
    """An octave's noise keeps its envelope: largest sample below 6 sigma of its neighbourhood,
    and no periodicity (flutter) in its square: autocorrelation below 0.1 from 5 to 60 ms."""
    (row,) = tails(room, (omni((0.0, 0.0, 2.0)),))
    late = octave_filtered(row, RATE, 5)[8_000:20_000]
    late = late * np.exp(0.5 * 13.8155 * np.arange(len(late)) / RATE / room.reverberation[5])
    assert np.abs(late).max() < 6.0 * late.std()
    power = late**2 - np.mean(late**2)
    correlation = np.fft.irfft(np.abs(np.fft.rfft(power, 2 * len(power))) ** 2)
    lags = slice(round(0.005 * RATE), round(0.06 * RATE))
    assert np.abs(correlation[lags]).max() < 0.1 * correlation[0]


def test_same_seed_gives_the_same_samples(omni: Callable[..., Microphone], room: Room) -> None:
    group = (omni((0.0, 0.0, 2.0), "a"), omni((1.0, 0.0, 2.0), "b"))
    assert np.array_equal(tails(room, group), tails(room, group))


@pytest.mark.parametrize("what", ["seat", "source", "microphone", "hall seed"])
def test_other_names_give_other_noise(
    what: str, omni: Callable[..., Microphone], room: Room
) -> None:
    """Correlation of two tails below 0.05: some 10^4 independent values each."""
    one = (omni((0.0, 0.0, 2.0), "a"),)
    grid = Grid(RATE, 24_000, 0.0)
    seat = "other seat" if what == "seat" else "seat"
    source = 1 if what == "source" else 0
    name = "b" if what == "microphone" else "a"
    other = replace(room, seed=1) if what == "hall seed" else room
    first = tails(room, one)[0].astype(float)
    noise = [generator_for(other, seat, source, name)]
    second = tail_responses(other, grid, [(one, 0.0)], noise)[0].astype(float)
    alike = np.sum(first * second) / np.sqrt(np.sum(first**2) * np.sum(second**2))
    assert abs(alike) < 0.05
    assert np.sum(second**2) == pytest.approx(np.sum(first**2), rel=0.3)


def test_names_do_not_run_together(room: Room) -> None:
    """("ab", "c") and ("a", "bc") are different seats and microphones; lone surrogates as well."""
    draws = {
        float(generator_for(room, seat, source, name).standard_normal())
        for seat in ("a", "ab", "1", "\udcff") for source in (0, 1, 11) for name in ("c", "bc", "")
    }  # fmt: skip
    assert len(draws) == 4 * 3 * 3


def test_other_microphones_leave_a_microphones_noise_alone(
    omni: Callable[..., Microphone], room: Room
) -> None:
    """Bit for bit: microphones added in a group of their own, delayed as they like, or behind in
    the same group and not nearer than its nearest pair. Then the noise of those before is kept,
    because each row mixes only rows before it."""
    tree = (omni((-1.0, 0.0, 3.0), "l"), omni((0.0, 1.5, 3.0), "c"), omni((1.0, 0.0, 3.0), "r"))
    close, wings = omni((3.0, 5.0, 1.0), "close"), omni((-4.0, 0.0, 3.0), "wing")
    grid = Grid(RATE, 36_000, 0.02)
    alone = tails(room, tree, grid=grid)

    def noise(*names: str) -> list[np.random.Generator]:
        return [generator_for(room, "seat", 0, name) for name in names]

    for delay in (0.0, 0.003, 0.015):
        groups = [(tree, 0.0), ((close,), delay)]
        both = tail_responses(room, grid, groups, noise("l", "c", "r", "close"))
        assert np.array_equal(both[:3], alone)
    groups = [((*tree, wings), 0.0)]
    more = tail_responses(room, grid, groups, noise("l", "c", "r", "wing"))
    assert np.array_equal(more[:3], alone)


def test_origin_moves_the_envelope_and_keeps_the_noise(
    omni: Callable[..., Microphone], room: Room
) -> None:
    """A scene whose earliest arrival changes by 1 ms keeps its seats' tails: the same noise,
    faded as 1 ms asks; nowhere more than -30 dB of other noise."""
    one = (omni((0.0, 0.0, 2.0), "a"),)
    first = tails(room, one, grid=Grid(RATE, 24_000, 0.020))[0].astype(float)
    second = tails(room, one, grid=Grid(RATE, 24_000, 0.021))[0].astype(float)
    late = slice(round(room.mixing_time * RATE), None)
    difference = np.sum((first[late] - second[late]) ** 2) / np.sum(first[late] ** 2)
    assert -60.0 < 10.0 * np.log10(difference) < -25.0


def test_extremes_stay_finite(
    omni: Callable[..., Microphone], uniform_surfaces: Callable[[float, float], Surfaces]
) -> None:
    """Hardly and almost wholly absorbing halls, all and nothing scattered, low and high rates."""
    for absorption in (1e-6, 0.999):
        for scattering in (0.0, 1.0):
            hall = Hall(
                size={"width": 3, "depth": 3, "height": 3},
                surfaces=uniform_surfaces(absorption, scattering),
                podium=1.5,
            )
            for rate in (8_000, 192_000):
                group = (omni((0.0, 0.0, 1.0), "a"), omni((0.0, 0.2, 1.0), "b"))
                rows = tails(room_of(hall), group, grid=Grid(rate, rate // 4, 0.0))
                assert rows.shape == (2, rate // 4)
                assert np.isfinite(rows).all()
                assert np.abs(rows).max() > 0.0


@pytest.mark.parametrize("apart", [0.17, 0.5, 2.0])
def test_two_omnis_hear_as_alike_as_in_a_diffuse_field(
    apart: float, omni: Callable[..., Microphone], room: Room
) -> None:
    """Cook et al. 1955, measured on the tails themselves: sin(k d) / (k d) from 40 Hz to 4 kHz.

    120 seats x 9 bins give a standard deviation of 0.02-0.03 a point; 5 of them are the limit.
    """
    group = (omni((0.0, 0.0, 2.0), "a"), omni((0.6 * apart, 0.8 * apart, 2.0), "b"))
    grid = Grid(RATE, 14_400, 0.0)
    seats = [tails(room, group, str(seat), grid=grid) for seat in range(120)]
    rows = np.fft.rfft(np.array(seats, dtype=float), axis=2)
    cross = np.sum(rows[:, 0] * np.conj(rows[:, 1]), axis=0)
    power = np.sum(np.abs(rows) ** 2, axis=0)

    def smooth(values: NDArray) -> NDArray:
        return np.convolve(values, np.ones(9) / 9.0, "same")

    found = smooth(cross) / np.sqrt(smooth(power[0]) * smooth(power[1]))
    frequency = np.arange(rows.shape[2]) * RATE / grid.frames
    chosen = (frequency > 40.0) & (frequency < 4_000.0)
    wanted = smooth(np.sinc(2.0 * frequency * apart / room.speed))
    assert np.abs(found - wanted)[chosen].max() < 0.13
    assert np.sqrt(np.mean(np.abs(found - wanted)[chosen] ** 2)) < 0.04
    if apart < 1.0:
        assert found[(frequency > 40.0) & (frequency < 60.0)].real.min() > 0.9


def test_mirrored_tails_are_equally_loud(omni: Callable[..., Microphone], room: Room) -> None:
    """Left and right microphones of one array: equal energy in every octave, mean of 48 seats.

    One octave of a tail has a relative deviation of its energy of sqrt(13.8155 / T / (2 B)) for a
    bandwidth of B Hz, so the mean ratio of 48 pairs one of sqrt(2 / 48) of that: 4 of them.
    """
    group = (omni((-1.5, 0.0, 3.0), "left"), omni((1.5, 0.0, 3.0), "right"))
    energies = np.zeros((2, 9))
    for seat in range(48):
        rows = tails(room, group, str(seat), grid=Grid(RATE, 30_000, 0.0))
        for band in range(9):
            energies[:, band] += np.sum(octave_filtered(rows, RATE, band) ** 2, axis=1)
    found = 10.0 * np.log10(energies[0] / energies[1])
    width = np.minimum(np.array(OCTAVE_BANDS) * 2.0**-0.5, RATE / 2 - 11_314.0)
    deviation = np.sqrt(13.8155 / np.array(room.reverberation) / (2.0 * width) * 2.0 / 48.0)
    assert (np.abs(found) < 4.0 * 4.343 * deviation).all()
    assert (4.0 * 4.343 * deviation)[3:].max() < 1.0
