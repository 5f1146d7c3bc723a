"""Eight truths about a hall that a toy fails, each against a published source.

Measured on whole rendered responses of the default hall at 2 s over 3 sources and 4 receivers
(`conftest.survey`) where nothing else is said. The second truth, the curves of a head, is held by
`test_head.py`; the eighth on small stems also by `tests/test_render.py`. Just noticeable
differences are those of ISO 3382-1:2009, annex A (T 5 %, C80 1 dB, D50 0.05, G 1 dB, Ts 10 ms;
from memory).
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from math import erfc, sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import (
    Grid,
    early_responses,
    generator_for,
    head_responses,
    microphone_arrivals,
    microphone_responses,
)
from seatwright.acoustics.measures import band_decay_times, octave_filtered
from seatwright.acoustics.reflections import arrivals_at, image_sources
from seatwright.acoustics.room import Room, room_of
from seatwright.render import render
from seatwright.stage.hall import Hall
from seatwright.stage.microphones import Ears, Microphone
from seatwright.stage.request import Request
from seatwright.stage.seats import Source

if TYPE_CHECKING:
    from conftest import Survey

REFERENCES = Path(__file__).parents[1] / "references"
AIR = tomllib.loads((REFERENCES / "air.toml").read_text("utf-8"))["ceiling"]
MEASURED = tomllib.loads((REFERENCES / "rooms.toml").read_text("utf-8"))["measured_hall"]
RATE = 48_000
HALL = Hall(reverberation=2.0)
FERRY = Path(__file__).parents[2] / "scenes" / "ferry.toml"
DECAY = 13.815511


@lru_cache(maxsize=8)
def octave_times(hall: Hall, survey: Callable[[Hall], Survey]) -> NDArray[np.float64]:
    """T30 of every response and octave, shape (pairs, 9)."""
    heard = survey(hall)
    return np.array([band_decay_times(row, heard.rate) for row in heard.responses])


@lru_cache(maxsize=8)
def middle_figures(hall: Hall, survey: Callable[[Hall], Survey]) -> dict[str, NDArray[np.float64]]:
    """T30, C80, D50, G without its constant, Ts: mean of 500 Hz and 1 kHz, shape (pairs,)."""
    heard = survey(hall)
    rows = {name: [] for name in ("T", "C80", "D50", "G", "Ts")}
    for row, distance in zip(heard.responses, heard.distances, strict=True):
        start = round(distance / heard.room.speed * heard.rate)
        octaves = [octave_filtered(row, heard.rate, band) for band in (3, 4)]
        powers = [octave[start:] ** 2 for octave in octaves]
        time = np.arange(len(powers[0])) / heard.rate
        early = round(0.08 * heard.rate)
        rows["C80"].append(np.mean([
            10.0 * np.log10(each[:early].sum() / each[early:].sum()) for each in powers
        ]))  # fmt: skip
        half = round(0.05 * heard.rate)
        rows["D50"].append(np.mean([each[:half].sum() / each.sum() for each in powers]))
        rows["G"].append(np.mean([10.0 * np.log10(each.sum()) for each in powers]))
        rows["Ts"].append(np.mean([np.sum(time * each) / each.sum() for each in powers]))
    rows["T"] = list(octave_times(hall, survey)[:, 3:5].mean(axis=1))
    return {name: np.array(values) for name, values in rows.items()}


# 1


def test_1_highs_decay_as_in_a_measured_hall(survey: Callable[[Hall], Survey]) -> None:
    """Merimaa, Peltonen, Lokki 2005 (Pori): T(4k) / T(1k) .72 and T(8k) / T(1k) .47 within .06, in
    the large concert hall of 2 s, whose walls were chosen after that hall: whole responses keep
    what walls and air give it."""
    times = octave_times(Hall(type="large-concert-hall"), survey).mean(axis=0)
    assert times[4] == pytest.approx(2.0, rel=0.05)
    assert times[6] / times[4] == pytest.approx(MEASURED["t_4k_over_1k"], abs=0.06)
    assert times[7] / times[4] == pytest.approx(MEASURED["t_8k_over_1k"], abs=0.06)


def test_1_highs_of_the_default_hall(survey: Callable[[Hall], Survey]) -> None:
    """T(8k) / T(1k) .47 within .06 as in Pori. T(4k) / T(1k) comes out .85, not .72: the published
    floor (stage and audience) absorbs less at 4 kHz than at 1 kHz (.59 for .66) and the wooden end
    walls a third; a hall without air has 1.0 and more."""
    times = octave_times(HALL, survey).mean(axis=0)
    assert times[7] / times[4] == pytest.approx(MEASURED["t_8k_over_1k"], abs=0.06)
    assert 0.7 < times[6] / times[4] < 0.9


@pytest.mark.parametrize("reverberation", [2.0, 4.5])
def test_1_no_response_rings_longer_than_air_allows(
    reverberation: float, survey: Callable[[Hall], Survey]
) -> None:
    """ISO 9613-1 at 20 degrees, 50 %: 5.9 s at 4 kHz, 1.66 s at 8 kHz, .48 s at 16 kHz."""
    times = octave_times(Hall(reverberation=reverberation), survey).mean(axis=0)
    assert times[6] < AIR["at_4k"]
    assert times[7] < AIR["at_8k"]
    assert times[8] < AIR["at_16k"]


# 3


def reflected_in_planes(room: Room, source: tuple[float, float, float], order: int) -> list:
    """Every image up to an order by reflecting points in six planes, wall after wall.

    Returns (place, walls hit in order); each place once, found by its first and shortest way.
    """
    low = np.array(room.low_corner)
    high = low + np.array(room.size)
    planes = [
        (np.array([0, 0, 1.0]), low), (np.array([0, 0, -1.0]), high),
        (np.array([1.0, 0, 0]), low), (np.array([-1.0, 0, 0]), high),
        (np.array([0, -1.0, 0]), high), (np.array([0, 1.0, 0]), low),
    ]  # fmt: skip
    found: list[tuple[NDArray, tuple[int, ...]]] = [(np.array(source), ())]

    def reflect(place: NDArray, walls: tuple[int, ...]) -> None:
        for wall, (normal, point) in enumerate(planes):
            image = place - 2.0 * np.dot(place - point, normal) * normal
            latest.append((image, (*walls, wall)))

    edge = list(found)
    for _ in range(order):
        latest: list[tuple[NDArray, tuple[int, ...]]] = []
        for place, walls in edge:
            reflect(place, walls)
        edge = []
        for image, walls in latest:
            if all(np.linalg.norm(image - other) > 1e-6 for other, _ in found):
                found.append((image, walls))
                edge.append((image, walls))
    return found


@pytest.mark.parametrize("place", [(-1.31, 2.17, 1.62), (2.9, -4.4, 0.7)])
def test_3_each_arrival_is_that_of_a_point_reflected_in_planes(
    place: tuple[float, float, float], lopsided: Room
) -> None:
    """Allen and Berkley 1979: to order 3, every wall and band different, off-centre places; delay
    within 0.05 sample, gain of every band within 0.05 dB, direction within 0.01 degree."""
    receiver = (2.23, -3.41, 2.71)
    images = image_sources(lopsided, place, 200.0, 3)
    heard = arrivals_at(lopsided, Source(place, 0.0, "other"), images, receiver, 200.0)
    wanted = reflected_in_planes(lopsided, place, 3)
    assert len(wanted) == len(heard.distances) == 63
    absorption, scattering = np.array(lopsided.absorption), np.array(lopsided.scattering)
    for image, walls in wanted:
        towards = image - np.array(receiver)
        distance = float(np.linalg.norm(towards))
        cosines = np.clip(heard.directions @ towards / distance, -1.0, 1.0)
        apart = np.abs(heard.distances - distance) + 1e3 * np.arccos(cosines)
        one = int(np.argmin(apart))
        assert abs(heard.distances[one] - distance) / lopsided.speed * RATE < 0.05
        assert np.degrees(np.arccos(cosines[one])) < 0.01
        energy = np.exp(-np.array(lopsided.air) * distance) / distance**2
        for wall in walls:
            energy = energy * (1.0 - absorption[wall]) * (1.0 - scattering[wall])
        found = 20.0 * np.log10(heard.gains[one])
        assert found == pytest.approx(10.0 * np.log10(energy), abs=0.05)


# 4


def test_4_clarity_differs_by_seat_and_decay_does_not(survey: Callable[[Hall], Survey]) -> None:
    """Merimaa et al. 2005: C80 at 500 Hz-1 kHz has a standard deviation of 1.05 dB (range 3.5 dB)
    over 12 pairs, T20 of 2 to 3 %. Here too over 12 pairs: the standard deviation within .3 dB of
    that, the range within .7 dB; T30 deviates by at most 3 % from 250 Hz up."""
    clarity = middle_figures(HALL, survey)["C80"]
    assert np.std(clarity, ddof=1) == pytest.approx(MEASURED["clarity_deviation"], abs=0.3)
    assert np.ptp(clarity) == pytest.approx(np.ptp(MEASURED["clarity_range"]), abs=0.7)
    times = octave_times(HALL, survey)[:, 2:]
    assert (times.std(axis=0, ddof=1) / times.mean(axis=0)).max() < 0.03


def unlike_at_ears(rows: NDArray[np.float32], start: int) -> float:
    """1 - IACC_E3: 80 ms from the direct sound on, lags to 1 ms, mean of 500 Hz, 1 and 2 kHz."""
    cut = rows[:, max(0, start - 48) : start + round(0.08 * RATE)].astype(float)
    alike, lags = [], np.arange(-48, 49)
    for band in (3, 4, 5):
        left, right = np.pad(octave_filtered(cut, RATE, band), ((0, 0), (64, 64)))
        shifted = [np.sum(left * np.roll(right, lag)) for lag in lags]
        alike.append(np.max(np.abs(shifted)) / np.sqrt(np.sum(left**2) * np.sum(right**2)))
    return 1.0 - float(np.mean(alike))


def test_4_ears_hear_more_alike_when_near() -> None:
    """Merimaa et al. 2005, a dummy head: 1 - IACC_E3 .45 near to .84 far, mean .72. Means of 9
    pairs at some 7, 13 and 26 m: .45 and .84 within .1, and each further one higher."""
    room = room_of(HALL)
    grid = Grid(RATE, round(0.3 * RATE), 0.0)
    means = []
    for y in (-1.0, -7.0, -20.0):
        found = []
        for x in (1.0, 3.5, -5.0):
            ears = Ears((x, y, 1.2), (0.0, 1.0, 0.0))
            for place in ((-4.0, 3.0, 1.0), (0.5, 6.0, 1.2), (5.0, 9.0, 1.5)):
                noise = [generator_for(room, f"{x} {y} {place}", 0, ear) for ear in "lr"]
                rows = head_responses(room, Source(place, 180.0, "other"), ears, grid, noise)
                way = float(np.linalg.norm(np.subtract(place, ears.position)))
                found.append(unlike_at_ears(rows, round(way / room.speed * RATE)))
        means.append(float(np.mean(found)))
    assert means[0] == pytest.approx(MEASURED["ears_unlike_near"], abs=0.1)
    assert means[2] == pytest.approx(MEASURED["ears_unlike_far"], abs=0.1)
    assert means[0] + 0.1 < means[1] < means[2] - 0.05


# 5


def pairs_at(room: Room, distance: float, omni: Callable[..., Microphone]) -> list:
    """8 sources in the hall and 4 omnis as far from each as wanted, 1.2 m off all surfaces."""
    generator = np.random.default_rng(round(distance))
    low = np.array(room.low_corner) + 1.2
    high = low + np.array(room.size) - 2.4
    pairs = []
    while len(pairs) < 8:
        source = generator.uniform(low, high)
        towards = generator.normal(size=(400, 3))
        ends = source + distance * towards / np.linalg.norm(towards, axis=1, keepdims=True)
        ends = ends[((ends > low) & (ends < high)).all(axis=1)][:4]
        if len(ends) == 4:
            omnis = tuple(omni(tuple(end), str(row)) for row, end in enumerate(ends.tolist()))
            pairs.append((tuple(source.tolist()), omnis))
    return pairs


@pytest.mark.parametrize("distance", [5.0, 8.0, 12.0, 16.0, 20.0, 25.0, 30.0])
def test_5_level_and_clarity_follow_barron(
    distance: float, omni: Callable[..., Microphone]
) -> None:
    """Barron and Lee, JASA 84 (1988): direct 1 / d^2, early and late parts of 4 pi c / V
    exp(-13.8155 t / T) from the direct sound on; mean of 32 pairs at 500 Hz and 1 kHz, 1 dB."""
    room, frames = room_of(HALL), round(1.5 * RATE)
    grid, powers = Grid(RATE, frames, 0.0), np.zeros((2, 2))
    start = round(distance / room.speed * RATE)
    for row, (place, omnis) in enumerate(pairs_at(room, distance, omni)):
        noise = [generator_for(room, f"{distance} {row}", 0, each.name) for each in omnis]
        source = Source(place, 0.0, "other")
        whole = microphone_responses(room, source, [(omnis, 0.0)], grid, noise)
        for index, band in enumerate((3, 4)):
            power = np.sum(octave_filtered(whole, RATE, band) ** 2, axis=0) / 32.0
            split = start + round(0.08 * RATE)
            powers[index] += [power[:split].sum(), power[split:].sum()]
    pulse = np.zeros(frames)
    pulse[frames // 2] = 1.0
    for (early, late), band in zip(powers, (3, 4), strict=True):
        unit = np.sum(octave_filtered(pulse, RATE, band) ** 2)
        time = room.reverberation[band]
        after = np.array([distance / room.speed, distance / room.speed + 0.08])
        level = 4.0 * np.pi * room.speed / room.volume * time / DECAY
        rest, later = level * np.exp(-DECAY * after / time)
        total = 1.0 / distance**2 + rest
        assert 10.0 * np.log10((early + late) / unit / total) == pytest.approx(0.0, abs=1.0)
        barron = 10.0 * np.log10((total - later) / later)
        assert 10.0 * np.log10(early / late) == pytest.approx(barron, abs=1.0)


# 6


@pytest.mark.parametrize("change", ["mixing time", "seed"])
def test_6_nothing_moves_by_more_than_can_be_noticed(
    change: str, survey: Callable[[Hall], Survey]
) -> None:
    """ISO 3382-1: the mean over 12 pairs when images go on twice as long (8 times as many) or the
    noise is another: T 5 %, C80 1 dB, D50 .05, G 1 dB, Ts 10 ms; the responses do differ."""
    longer = 2.0 * room_of(HALL).mixing_time
    keys = {"mixing_time": longer} if change == "mixing time" else {"seed": 77}
    changed = HALL.model_copy(update=keys)
    one, other = survey(HALL), survey(changed)
    first, second = middle_figures(HALL, survey), middle_figures(changed, survey)
    moved = {name: float(np.mean(second[name] - first[name])) for name in first}
    assert abs(moved["T"]) < 0.05 * float(np.mean(first["T"]))
    assert abs(moved["C80"]) < 1.0
    assert abs(moved["D50"]) < 0.05
    assert abs(moved["G"]) < 1.0
    assert abs(moved["Ts"]) < 0.010
    assert not np.allclose(one.responses[:, 9_000:40_000], other.responses[:, 9_000:40_000])


# 7


def echo_density(row: NDArray[np.float64], first: float, last: float) -> NDArray[np.float64]:
    """Abel and Huang 2006 (AES 121st, 6985): share of taps outside one standard deviation under a
    Hann window of 20 ms over what Gaussian noise has, erfc(1 / sqrt 2); every 5 ms."""
    count = round(0.02 * RATE)
    weight = np.hanning(count) / np.hanning(count).sum()
    values = []
    for start in range(round(first * RATE), round(last * RATE), round(0.005 * RATE)):
        window = row[start - count // 2 : start - count // 2 + count]
        sigma = np.sqrt(np.sum(weight * window**2))
        values.append(np.sum(weight * (np.abs(window) > sigma)) / erfc(1.0 / sqrt(2.0)))
    return np.array(values)


def test_7_late_field_is_dense_and_stays_so(survey: Callable[[Hall], Survey]) -> None:
    """Abel and Huang 2006: normalised echo density below .8 while reflections stand apart (60 to
    90 ms), 1 within .05 on the mean of 12 pairs from 12 ms after the mixing time on."""
    heard = survey(HALL)
    rows = heard.responses.astype(float)
    mixed = heard.room.mixing_time
    before = np.mean([echo_density(row, 0.06, 0.09) for row in rows])
    after = np.mean([echo_density(row, mixed + 0.012, 0.8) for row in rows], axis=0)
    assert before < 0.8
    assert np.abs(after - 1.0).max() < 0.12
    assert float(after[:10].mean()) == pytest.approx(1.0, abs=0.05)
    assert float(after.mean()) == pytest.approx(1.0, abs=0.02)


def test_7_density_has_no_step_where_images_end(survey: Callable[[Hall], Survey]) -> None:
    """Mean of 12 pairs from 24 ms before to 15 ms after the mixing time: it rises by less than .18
    in 5 ms (images cut off at once: .22) and nowhere falls by more than .05."""
    heard = survey(HALL)
    mixed = heard.room.mixing_time
    rows = [echo_density(row, mixed - 0.024, mixed + 0.016) for row in heard.responses]
    steps = np.diff(np.mean(rows, axis=0))
    assert steps.min() > -0.05
    assert steps.max() < 0.18
    assert steps.sum() > 0.4


def test_7_late_field_is_gaussian(survey: Callable[[Hall], Survey]) -> None:
    """Kuttruff, "Room Acoustics": kurtosis 3; 2.7 to 3.5 in every window of 60 ms from 30 ms after
    the mixing time to 1.5 s, mean of 12, above 125 Hz. Shoebox images alone give 8 to 25."""
    heard = survey(HALL)
    spectrum = np.fft.rfft(heard.responses.astype(float), axis=1)
    spectrum[:, np.fft.rfftfreq(heard.responses.shape[1], 1.0 / RATE) < 125.0] = 0.0
    signal = np.fft.irfft(spectrum, heard.responses.shape[1], axis=1)
    for start in np.arange(heard.room.mixing_time + 0.03, 1.5, 0.1):
        window = signal[:, round(start * RATE) :][:, : round(0.06 * RATE)]
        centred = window - window.mean(axis=1, keepdims=True)
        each = np.mean(centred**4, axis=1) / np.mean(centred**2, axis=1) ** 2
        assert 2.7 < float(each.mean()) < 3.5, start


def along_diagonals(row: NDArray[np.float64]) -> NDArray[np.float64]:
    """Correlation of log spectrogram cells with those `lag` frames later and `step` bins higher.

    Frames of 512 without overlap; mean and slope of each bin over time taken away. In noise each
    value has a deviation of 1 / sqrt(cells); a sweep of any slope lifts one of them.
    """
    frames = row[: len(row) // 512 * 512].reshape(-1, 512) * np.hanning(512)
    cells = np.log(np.abs(np.fft.rfft(frames, axis=1))[:, 8:104] ** 2 + 1e-30)
    time = np.arange(len(cells))
    cells = cells - np.polynomial.polynomial.polyval(time, np.polyfit(time, cells, 1)[::-1]).T
    cells /= cells.std(axis=0)
    values = []
    for lag in range(1, 5):
        for step in range(-12, 13):
            early = cells[:-lag, max(0, -step) : cells.shape[1] - max(0, step)]
            late = cells[lag:, max(0, step) : cells.shape[1] - max(0, -step)]
            values.append(np.mean(early * late) * np.sqrt(early.size))
    return np.array(values)


def test_7_no_sweeps_in_the_late_spectrogram(survey: Callable[[Hall], Survey]) -> None:
    """Kiyohara, Furuya, Kaneda 2002 found sweeping echoes in the late images of boxes. Of 100
    diagonals each deviates by chance from that of plain Gaussian noise (96 rows, which carry the
    same small bias of taking the slope away): sums of 12 pairs over sqrt 12 within 4.5 deviations;
    the same with chirps 20 dB below it lies far outside."""
    heard = survey(HALL)
    late = heard.responses[:, round(0.2 * RATE) : round(1.2 * RATE)].astype(float)
    noise = np.random.default_rng(8).normal(size=(96, late.shape[1]))
    chance = np.mean([along_diagonals(row) for row in noise], axis=0) * sqrt(12.0)
    found = np.sum([along_diagonals(row) for row in late], axis=0) / sqrt(12.0) - chance
    assert np.abs(found).max() < 4.5
    time = np.arange(late.shape[1]) / RATE
    chirps = sum(
        np.sin(2.0 * np.pi * (start + 4_400.0 * time) * time) for start in range(0, 9_000, 900)
    )
    fading = np.exp(-0.5 * DECAY * time / 2.0) * late[:, :4_800].std()
    swept = np.sum([along_diagonals(row + 0.05 * fading * chirps) for row in late], axis=0)
    assert np.abs(swept / sqrt(12.0) - chance).max() > 9.0


def test_7_a_mirrored_scene_is_mirrored(omni: Callable[..., Microphone], lopsided: Room) -> None:
    """Mirror symmetry of the wave equation: reflections mirrored to -120 dB, tails of equal energy
    (mean of 24 seats: 0.5 dB, over 1 kHz wide some 0.1 dB by chance)."""
    swap = [0, 1, 3, 2, 4, 5]
    here = replace(lopsided, mixing_time=0.08)
    away = replace(
        here,
        absorption=tuple(here.absorption[wall] for wall in swap),
        scattering=tuple(here.scattering[wall] for wall in swap),
    )
    sides = [
        (here, Source((-1.1, 2.0, 1.3), 0.0, "other"), omni((1.9, -2.2, 1.7))),
        (away, Source((1.1, 2.0, 1.3), 0.0, "other"), omni((-1.9, -2.2, 1.7))),
    ]
    grid, energies = Grid(RATE, 28_000, 0.0), np.zeros(2)
    first, second = (
        early_responses(room, microphone_arrivals(room, place, [each]), grid, np.zeros(1))[0]
        for room, place, each in sides
    )
    assert np.abs(first - second).max() < 1e-6 * np.abs(first).max()
    for seat in range(24):
        for side, (room, place, microphone) in enumerate(sides):
            noise = [generator_for(room, f"{side} {seat}", 0, "one")]
            row = microphone_responses(room, place, [((microphone,), 0.0)], grid, noise)[0]
            energies[side] += np.sum(octave_filtered(row, RATE, 4)[6_000:] ** 2)
    assert 10.0 * np.log10(energies[0] / energies[1]) == pytest.approx(0.0, abs=0.5)


# 8


@pytest.mark.parametrize(("depth", "limit"), [("float", 1e-6), ("24", None)])
def test_8_section_bounces_of_the_demo_are_its_mix(
    depth: Literal["float", "24"], limit: float | None, tmp_path: Path
) -> None:
    """Superposition, on the demo's 18 stems: bounces sum to the mix below -120 dB as floats and
    within one 24-bit step a section."""
    render(FERRY, tmp_path / "out", Request(depth=depth, start=6.0, stop=9.0, threads=1))
    mix, _ = soundfile.read(tmp_path / "out" / "mix.wav")
    files = sorted((tmp_path / "out" / "sections").glob("*.wav"))
    total = np.sum([soundfile.read(file)[0] for file in files], axis=0)
    assert len(files) >= 6
    assert np.abs(mix).max() > 0.01
    assert np.abs(total - mix).max() <= (limit or len(files) * 2.0**-23)
