"""The early part and the arrivals, against sums in the spectrum and against pyroomacoustics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pyroomacoustics
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import (
    Grid,
    early_responses,
    generator_for,
    head_responses,
    microphone_arrivals,
    microphone_responses,
    response_seconds,
    tail_responses,
)
from seatwright.acoustics.room import Room, room_of
from seatwright.stage.hall import Hall, Surfaces
from seatwright.stage.microphones import Ears, Microphone
from seatwright.stage.seats import Source

PLACE = (-1.31, 2.17, 1.62)
RECEIVER = (2.23, -3.41, 2.71)
SOURCE = Source(PLACE, 180.0, "other")
SPECTRUM = 2**16
WALLS_OF_PYROOMACOUSTICS = ("floor", "ceiling", "west", "east", "north", "south")


def microphone(share: float, aim: tuple[float, float, float] = (0.0, 1.0, 0.0)) -> Microphone:
    return Microphone("one", "tree", RECEIVER, share, aim, (1.0, 1.0))


def band(rate: int) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Frequencies of the transform, and which of them lie in 150 Hz-16 kHz."""
    frequency = np.fft.rfftfreq(SPECTRUM, 1.0 / rate)
    return frequency, (frequency > 150.0) & (frequency < 16_000.0)


def error_db(ours: NDArray, theirs: NDArray, rate: int) -> float:
    """Energy of the difference to that of the reference in 150 Hz-16 kHz."""
    _, inside = band(rate)
    first, second = np.fft.rfft(ours, SPECTRUM)[inside], np.fft.rfft(theirs, SPECTRUM)[inside]
    return float(10.0 * np.log10(np.sum(np.abs(first - second) ** 2) / np.sum(np.abs(second) ** 2)))


def raised_cosine(values: NDArray[np.float64], frequency: NDArray[np.float64]) -> NDArray:
    """Values at the nine mid-bands, interpolated by D. Schroeder's raised cosines (2011)."""
    spectrum = np.where(frequency < 62.5, values[0], values[8])
    for index in range(8):
        low = 62.5 * 2.0**index
        inside = (frequency >= low) & (frequency < 2.0 * low)
        falling = 0.5 - 0.5 * np.cos(np.pi * frequency[inside] / low)
        spectrum[inside] = values[index] * falling + values[index + 1] * (1.0 - falling)
    return spectrum


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("share", [1.0, 0.5, 0.0], ids=["omni", "cardioid", "figure-eight"])
def test_early_part_is_the_sum_of_its_arrivals(rate: int, share: float, lopsided: Room) -> None:
    """Every arrival by itself as g(f) exp(-j w d / c) in the spectrum: no kernel, no grid.

    Air, scattering and six different walls included; 60 dB below the signal is what the delay
    kernel promises.
    """
    aim = (0.6, 0.64, -0.48)
    (heard,) = microphone_arrivals(lopsided, SOURCE, [microphone(share, aim)], max_order=4)
    (omni,) = microphone_arrivals(lopsided, SOURCE, [microphone(1.0)], max_order=4)
    frequency, _ = band(rate)
    wanted = np.zeros(len(frequency), dtype=complex)
    for distance, direction, gains in zip(omni.distances, omni.directions, omni.gains, strict=True):
        pattern = share + (1.0 - share) * float(direction @ np.array(aim))
        late = np.exp(-2j * np.pi * frequency * distance / lopsided.speed)
        wanted += pattern * raised_cosine(gains, frequency) * late
    grid = Grid(rate, 16_000, 0.0)
    (early,) = early_responses(lopsided, [heard], grid, np.zeros(1))
    assert error_db(early, np.fft.irfft(wanted, SPECTRUM), rate) < -60.0


def rir_of_pyroomacoustics(
    room: Room, rate: int, order: int, shares: tuple[float, ...]
) -> list[NDArray[np.float64]]:
    """`compute_rir` without its high-pass, its 40 samples of offset taken off.

    The room's default filter bank of 0.10 is Antoni's; the package's own raised cosines
    (`OctaveBandsFactory`, 512 taps from 125 Hz) have the same mid-bands and are put in its place.
    """
    centres = [1000.0 * 2.0**octave for octave in range(-3, 5)]
    materials = {
        name: pyroomacoustics.Material({"coeffs": list(row[1:]), "center_freqs": centres})
        for name, row in zip(WALLS_OF_PYROOMACOUSTICS, room.absorption, strict=True)
    }
    other = pyroomacoustics.ShoeBox(
        room.size, fs=rate, materials=materials, max_order=order, air_absorption=False
    )
    other.set_sound_speed(room.speed)
    other.octave_bands = pyroomacoustics.acoustics.OctaveBandsFactory(
        base_frequency=125.0, fs=rate, n_fft=512, keep_dc=True
    )
    low = np.array(room.low_corner)
    other.add_source(np.array(PLACE) - low)
    upstage = pyroomacoustics.directivities.DirectionVector(90.0, 90.0, degrees=True)
    for share in shares:
        pattern = pyroomacoustics.directivities.CardioidFamily(upstage, p=share)
        other.add_microphone(
            np.array(RECEIVER) - low, directivity=None if share == 1.0 else pattern
        )
    other.compute_rir()
    return [responses[0][40:] for responses in other.rir]


@pytest.fixture()
def no_high_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    """pyroomacoustics' 10 Hz high-pass off while a test runs."""
    constants = pyroomacoustics.parameters._constants
    monkeypatch.setitem(constants, "rir_hpf_enable", False)
    assert pyroomacoustics.constants.get("frac_delay_length") == 81  # offset of 40 samples


@pytest.fixture()
def seven_bands(lopsided: Room) -> Room:
    """Absorption in seven bands, 125 Hz-8 kHz, flat beyond; no scattering, no air."""
    rows = np.array(lopsided.absorption)
    rows[:, 0], rows[:, 8] = rows[:, 1], rows[:, 7]
    return replace(
        lopsided,
        absorption=tuple(map(tuple, rows.tolist())),
        scattering=((0.0,) * 9,) * 6,
        air=(0.0,) * 9,
    )


@pytest.mark.usefixtures("no_high_pass")
@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("order", [3, 10])
def test_early_part_is_that_of_pyroomacoustics(rate: int, order: int, seven_bands: Room) -> None:
    """pyroomacoustics 0.10 `compute_rir`, omni and cardioid: difference below -50 dB of its energy
    (its table of delays and its filters of 512 taps leave about -56)."""
    shares = (1.0, 0.5)
    theirs = rir_of_pyroomacoustics(seven_bands, rate, order, shares)
    microphones = [microphone(share) for share in shares]
    arrivals = microphone_arrivals(seven_bands, SOURCE, microphones, max_order=order)
    grid = Grid(rate, SPECTRUM // 2, 0.0)
    ours = early_responses(seven_bands, arrivals, grid, np.zeros(2))
    for row, reference in zip(ours, theirs, strict=True):
        assert error_db(row, reference, rate) < -50.0


@pytest.mark.usefixtures("no_high_pass")
def test_pyroomacoustics_would_show_a_wrong_wall(seven_bands: Room) -> None:
    """The comparison is sharp: two walls exchanged, or one band off by 0.02, is far above -50."""
    (theirs,) = rir_of_pyroomacoustics(seven_bands, 48_000, 3, (1.0,))
    rows = np.array(seven_bands.absorption)
    swapped, shifted = rows[[0, 1, 3, 2, 4, 5]], rows + 0.02 * (np.arange(9) == 5)
    for wrong in (swapped, shifted):
        room = replace(seven_bands, absorption=tuple(map(tuple, wrong.tolist())))
        arrivals = microphone_arrivals(room, SOURCE, [microphone(1.0)], max_order=3)
        (row,) = early_responses(room, arrivals, Grid(48_000, 16_000, 0.0), np.zeros(1))
        assert error_db(row, theirs, 48_000) > -45.0


def whole_response(room: Room, seconds: float = 0.4, rate: int = 48_000) -> NDArray[np.float32]:
    grid = Grid(rate, round(seconds * rate), 0.0)
    generators = [generator_for(room, "seat", 0, "one")]
    return microphone_responses(room, SOURCE, [((microphone(0.5),), 0.0)], grid, generators)


def test_no_setting_of_pyroomacoustics_changes_a_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    hall = Hall(reverberation=1.7, scattering=0.3)
    room_of.cache_clear()
    before = whole_response(room_of(hall))
    constants = pyroomacoustics.parameters._constants
    for name, value in {
        "c": 300.0, "frac_delay_length": 11, "octave_bands_base_freq": 250.0,
        "octave_bands_n_fft": 64, "rir_hpf_enable": True, "rir_hpf_fc": 200.0,
    }.items():  # fmt: skip
        monkeypatch.setitem(constants, name, value)
    room_of.cache_clear()
    after = whole_response(room_of(hall))
    assert np.array_equal(before, after)
    assert np.abs(before).max() > 0.01


def level_at(signal: NDArray, rate: int, hertz: float) -> float:
    turns = np.exp(-2j * np.pi * hertz * np.arange(len(signal)) / rate)
    return float(20.0 * np.log10(abs(np.sum(signal * turns))))


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_direct_sound_falls_by_6_db_for_each_doubling(
    rate: int, omni: Callable[..., Microphone]
) -> None:
    """Spherical spreading: 20 lg 2 = 6.02 dB at 1 kHz, and 0 dB at 1 m; air left in (5 dB/km)."""
    room = room_of(Hall())
    source = Source((0.0, 8.0, 1.2), 180.0, "other")
    distances = (1.0, 2.0, 4.0, 8.0, 16.0)
    omnis = [omni((0.0, 8.0 - distance, 1.2)) for distance in distances]
    arrivals = microphone_arrivals(room, source, omnis, max_order=0)
    early = early_responses(room, arrivals, Grid(rate, rate // 4, 0.0), np.zeros(len(omnis)))
    levels = [level_at(row, rate, 1000.0) for row in early]
    assert levels[0] == pytest.approx(0.0, abs=0.05)
    assert -np.diff(levels) == pytest.approx(20.0 * np.log10(2.0), abs=0.05)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_nothing_is_heard_before_the_direct_sound(rate: int) -> None:
    """Energy up to 2 ms before the arrival at least 60 dB below the direct sound's; band filters
    and delay kernels are symmetric in time."""
    room = room_of(Hall(reverberation=2.0))
    source = Source((-5.0, 6.0, 1.2), 180.0, "other")
    receivers = [replace(microphone(share), position=place, name=str(index))
                 for index, (share, place) in enumerate(
                     [(1.0, (-1.0, -1.0, 3.2)), (0.5, (3.0, -10.0, 5.0))])]  # fmt: skip
    grid = Grid(rate, rate // 2, 0.0)
    generators = [generator_for(room, "seat", 0, each.name) for each in receivers]
    group = [(tuple(receivers), 0.0)]
    whole = microphone_responses(room, source, group, grid, generators).astype(float)
    for row, receiver in zip(whole, receivers, strict=True):
        distance = float(np.linalg.norm(np.subtract(source.position, receiver.position)))
        arrival = distance / room.speed * rate
        before = np.sum(row[: int(arrival - 0.002 * rate)] ** 2)
        near = slice(int(arrival - 0.0005 * rate), int(arrival + 0.0005 * rate))
        direct = np.sum(row[near] ** 2)
        assert direct > 0.1 / distance**2 * receiver.omni_share**2
        assert 10.0 * np.log10(max(before, 1e-30) / direct) < -60.0


def mirrored(position: tuple[float, float, float]) -> tuple[float, float, float]:
    return (-position[0], position[1], position[2])


def mirrored_room(room: Room) -> Room:
    def swapped(rows: tuple) -> tuple:
        return (rows[0], rows[1], rows[3], rows[2], rows[4], rows[5])

    return replace(room, absorption=swapped(room.absorption), scattering=swapped(room.scattering))


def test_a_mirrored_scene_mirrors_its_early_part(lopsided: Room) -> None:
    """Source, walls and microphones mirrored at x = 0: the same signal to -120 dB of its peak."""
    receivers = [
        replace(microphone(0.3, (0.6, 0.8, 0.0)), position=place)
        for place in ((-1.2, -1.0, 2.0), (0.4, -3.3, 1.1))
    ]
    others = [
        replace(each, position=mirrored(each.position), aim=mirrored(each.aim))
        for each in receivers
    ]
    grid, none = Grid(48_000, 24_000, 0.0), np.zeros(2)
    heard = microphone_arrivals(lopsided, SOURCE, receivers)
    first = early_responses(lopsided, heard, grid, none)
    away = mirrored_room(lopsided)
    reflected = replace(SOURCE, position=mirrored(SOURCE.position))
    second = early_responses(away, microphone_arrivals(away, reflected, others), grid, none)
    difference = np.abs(first - second).max() / np.abs(first).max()
    assert 20.0 * np.log10(max(difference, 1e-30)) < -120.0
    unmirrored = early_responses(
        lopsided, microphone_arrivals(lopsided, SOURCE, others), grid, none
    )
    assert 20.0 * np.log10(np.abs(first - unmirrored).max() / np.abs(first).max()) > -20.0


def test_a_mirrored_scene_mirrors_at_the_head(lopsided: Room) -> None:
    """Left and right ear change places; tails apart, which are other noise."""
    quiet = replace(lopsided, mixing_time=0.05)
    ears = Ears((0.7, -3.0, 1.2), (0.6, 0.8, 0.0))
    turned = Ears(mirrored(ears.position), mirrored(ears.facing))
    grid = Grid(48_000, 4_800, 0.0)

    def early(room: Room, source: Source, at: Ears) -> NDArray:
        noise = [generator_for(room, "seat", 0, str(ear)) for ear in range(2)]
        again = [generator_for(room, "seat", 0, str(ear)) for ear in range(2)]
        away = replace(room, absorption=((1.0 - 1e-12,) * 9,) * 6)
        whole = head_responses(room, source, at, grid, noise)
        return whole - (head_responses(away, source, at, grid, again))

    mirror = replace(SOURCE, position=mirrored(SOURCE.position))
    first = early(quiet, SOURCE, ears)
    second = early(mirrored_room(quiet), mirror, turned)
    peak = np.abs(first).max()
    assert np.abs(first - second[::-1]).max() < 1e-5 * peak
    assert np.abs(first - second).max() > 0.1 * peak


def test_delay_moves_the_early_part_by_whole_samples(lopsided: Room) -> None:
    arrivals = microphone_arrivals(lopsided, SOURCE, [microphone(1.0)], max_order=2)
    grid = Grid(48_000, 8_000, 0.0)
    (plain,) = early_responses(lopsided, arrivals, grid, np.zeros(1))
    (later,) = early_responses(lopsided, arrivals, grid, np.array([96 / 48_000]))
    (sooner,) = early_responses(lopsided, arrivals, replace(grid, origin=48 / 48_000), np.zeros(1))
    peak = float(np.abs(plain).max())
    count = len(plain) - 96
    assert later[96 : 96 + count] == pytest.approx(plain[:count], abs=1e-5 * peak)
    assert sooner[: count - 48] == pytest.approx(plain[48:count], abs=1e-5 * peak)


def test_response_lasts_until_the_slowest_band_is_75_db_down() -> None:
    room = room_of(Hall())
    assert response_seconds(room) == pytest.approx(75.0 / 60.0 * max(room.reverberation))


COORDINATE = st.floats(0.02, 0.98)


@settings(max_examples=25, deadline=None)
@given(
    size=st.tuples(st.floats(3.0, 60.0), st.floats(3.0, 60.0), st.floats(3.0, 60.0)),
    source=st.tuples(COORDINATE, COORDINATE, COORDINATE),
    receiver=st.tuples(COORDINATE, COORDINATE, COORDINATE),
    absorption=st.floats(0.03, 0.9),
    scattering=st.floats(0.0, 1.0),
    share=st.sampled_from([1.0, 0.7, 0.5]),
    rate=st.sampled_from([44_100, 48_000]),
)
def test_any_hall_gives_a_finite_response_that_arrives_in_time(
    uniform_surfaces: Callable[[float, float], Surfaces],
    size: tuple[float, ...],
    source: tuple[float, ...],
    receiver: tuple[float, ...],
    absorption: float,
    scattering: float,
    share: float,
    rate: int,
) -> None:
    """Halls of 3-60 m, sources and microphones anywhere inside: the direct sound stands at
    distance / c to 0.1 sample with pattern / distance, and all samples are finite."""
    width, depth, height = size
    hall = Hall(
        size={"width": width, "depth": depth, "height": height},
        surfaces=uniform_surfaces(absorption, scattering),
    )
    room = room_of(hall)
    low = np.array(room.low_corner)
    place = tuple((low + np.array(source) * size).tolist())
    apart = np.array(place) - (low + np.array(receiver) * size)
    distance = float(np.linalg.norm(apart))
    if distance < 0.3:
        place = (place[0], place[1], place[2] + (0.5 if source[2] < 0.5 else -0.5))
        apart = np.array(place) - (low + np.array(receiver) * size)
        distance = float(np.linalg.norm(apart))
    at = tuple((low + np.array(receiver) * size).tolist())
    aim = tuple((apart / distance).tolist())
    one = Microphone("one", "tree", at, share, aim, (1.0, 1.0))
    grid = Grid(rate, round((distance / room.speed + 0.1) * rate), 0.0)
    noise = [generator_for(room, "seat", 0, "one")]
    sound = Source(place, 0.0, "other")
    whole = microphone_responses(room, sound, [((one,), 0.0)], grid, noise)
    assert np.isfinite(whole).all()
    arrivals = microphone_arrivals(room, sound, [one], max_order=0)
    (direct,) = early_responses(room, arrivals, grid, np.zeros(1))
    spectrum = np.fft.rfft(direct, SPECTRUM)
    frequency = np.fft.rfftfreq(SPECTRUM, 1.0 / rate)
    chosen = (frequency > 200.0) & (frequency < 12_000.0)
    rest = spectrum * np.exp(2j * np.pi * frequency * distance / room.speed)
    phase = np.unwrap(np.angle(rest[chosen]))
    slope = np.polyfit(2.0 * np.pi * frequency[chosen] / rate, phase, 1)[0]
    assert abs(slope) < 0.1
    assert level_at(direct, rate, 250.0) == pytest.approx(-20.0 * np.log10(distance), abs=0.15)


@pytest.mark.parametrize("share", [1.0, 0.5])
def test_tail_follows_the_delay_of_its_group(share: float) -> None:
    """A delayed group's tail decays from later on: less faded by 13.8155 delay / T."""
    room = room_of(Hall(reverberation=1.5))
    one, grid = (microphone(share),), Grid(48_000, 24_000, 0.0)

    def energy(delay: float) -> float:
        generator = generator_for(room, "seat", 0, "one")
        (tail,) = tail_responses(room, grid, [(one, delay)], [generator])
        return float(np.sum(tail[12_000:].astype(float) ** 2))

    later = 0.1
    found = 10.0 * np.log10(energy(later) / energy(0.0))
    slowest, fastest = max(room.reverberation), min(room.reverberation)
    assert 60.0 * later / slowest < found < 60.0 * later / fastest
