"""A seat's responses: every microphone on time, perspectives that add up, loudness that is held."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import fftconvolve, freqz, lfilter

from seatwright.acoustics.impulse_response import Grid, response_seconds
from seatwright.acoustics.listening import (
    Listening,
    SeatPlan,
    earliest_arrival,
    listening_of,
    middle_source,
    seat_plan,
)
from seatwright.acoustics.panning import direct_arrivals
from seatwright.acoustics.seat_response import SeatResponse, seat_response
from seatwright.stage.scene import Scene

K_TABLE = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "hearing.toml").read_text("utf-8")
)["k_weighting_48k"]

RATE = 48_000
FULL = {"tree": 0.0, "outriggers": -6.0, "ambient": -8.0, "close": -10.0, "head": -3.0}
PLACES = {"front": (-2.5, 2.0), "middle": (0.4, 5.5), "back": (6.5, 8.5)}


def scene_of(place: tuple[float, float], **seat: object) -> Scene:
    keys = {"stem": "one.wav", "x": place[0], "y": place[1], "instrument": "other"} | seat
    return Scene(hall={"reverberation": 1.6}, seats={"one": keys})


def plan_of(
    place: tuple[float, float],
    balance: dict[str, float],
    channels: int = 1,
    **seat: object,
) -> tuple[Listening, SeatPlan]:
    """Listening and plan of a scene of one seat; natural level unless said otherwise."""
    scene = scene_of(place, perspectives=balance, **({"level": "natural"} | seat))
    return listening_of(scene), seat_plan(scene, "one", channels)


def grid_of(listening: Listening, rate: int = RATE, origin: float = 0.0) -> Grid:
    return Grid(rate, round(response_seconds(listening.room) * rate), origin)


def arrival_in_samples(signal: NDArray, near: float, rate: int) -> float:
    """Delay of the first arrival: where the correlation with a band-limited pulse (1-16 kHz)
    is largest, of a window of 1.3 ms around the expected sample."""
    first = int(near) - 32
    window = signal[first : first + 64].astype(float) * np.hanning(64) ** 0.5
    length = 4_096
    frequency = np.fft.rfftfreq(length, 1.0 / rate)
    inside = (frequency > 1_000.0) & (frequency < 16_000.0)
    spectrum = np.fft.rfft(window, length)[inside]
    trials = near - first + np.arange(-3.0, 3.0, 0.005)
    turns = np.exp(2j * np.pi * np.outer(trials, frequency[inside]) / rate)
    return float(first + trials[int(np.argmax((turns @ spectrum).real))])


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_every_hall_microphone_hears_at_distance_over_c(
    place: tuple[float, float], rate: int
) -> None:
    """Tree, outriggers and ambient, each a perspective of its own, in whole responses: 0.1 sample;
    and the height of the direct sound 1 / d to 0.5 dB in mid bands."""
    listening, plan = plan_of(place, {"tree": 0.0})
    apart = tuple(replace(m, perspective=m.name, gains=(1.0, 0.0)) for m in listening.microphones)
    each = replace(listening, microphones=apart)
    plan = replace(plan, balance=tuple((m.name, 0.0) for m in apart))
    grid = Grid(rate, rate // 4, 0.004)
    found = seat_response(each, plan, grid, apart=True).perspectives
    assert len(found) == 7
    for microphone in apart:
        source = np.array(plan.sources[0].position)
        distance = float(np.linalg.norm(source - np.array(microphone.position)))
        wanted = (distance / listening.room.speed - grid.origin) * rate
        left, right = found[microphone.name][0]
        assert arrival_in_samples(left, wanted, rate) == pytest.approx(wanted, abs=0.1)
        assert not right.any()


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_close_microphone_is_delayed_to_the_tree(place: tuple[float, float], rate: int) -> None:
    """Its direct sound stands at the tree's first arrival, to 0.1 sample, and is as strong as the
    tree's: that is what the balance's 0 dB means."""
    listening, plan = plan_of(place, {"tree": 0.0, "close": 0.0})
    grid = Grid(rate, rate // 4, 0.0)
    found = seat_response(listening, plan, grid, apart=True)
    source = np.array(plan.sources[0].position)
    nearest = min(
        float(np.linalg.norm(source - np.array(m.position))) for m in listening.of("tree")
    )
    wanted = nearest / listening.room.speed * rate
    close = found.perspectives["close"][0]
    heard = close[int(np.argmax(np.abs(close).max(axis=1)))]
    assert arrival_in_samples(heard, wanted, rate) == pytest.approx(wanted, abs=0.1)
    only = seat_response(listening, replace(plan, balance=(("close", 0.0),)), grid).direct
    turns = np.exp(-2j * np.pi * 1_000.0 * np.arange(only.shape[2]) / rate)
    _, gains = direct_arrivals(listening, plan.sources[0], ("tree",))
    level = 10.0 * np.log10(np.sum(np.abs(only[0] @ turns) ** 2) / np.sum(gains**2))
    assert level == pytest.approx(0.0, abs=0.2)


def test_earliest_arrival_is_the_least_of_all() -> None:
    """By hand: the shortest way of any seat to any microphone that is heard of it."""
    listening, near = plan_of(PLACES["front"], {"tree": 0.0, "close": 0.0})
    _, far = plan_of(PLACES["back"], {"ambient": 0.0})
    source = np.array(near.sources[0].position)
    shortest = min(
        float(np.linalg.norm(source - np.array(m.position))) for m in listening.of("tree")
    )
    assert earliest_arrival(listening, [near, far]) * listening.room.speed == pytest.approx(
        shortest
    )
    to_ambient = min(
        float(np.linalg.norm(np.array(far.sources[0].position) - np.array(m.position)))
        for m in listening.of("ambient")
    )
    assert earliest_arrival(listening, [far]) * listening.room.speed == pytest.approx(to_ambient)
    assert earliest_arrival(listening, []) == 0.0


@pytest.mark.parametrize("treatment", ["placed", "blended"])
def test_perspectives_add_up_to_the_mix(treatment: str) -> None:
    listening, plan = plan_of(PLACES["back"], FULL, 2, treatment=treatment)
    found = seat_response(listening, plan, grid_of(listening), apart=True)
    total = sum(each.astype(float) for each in found.perspectives.values())
    assert np.abs(found.mix - total).max() < 1e-6 * np.abs(total).max()
    assert found.mix.shape == (2, 2, grid_of(listening).frames)
    whole = seat_response(listening, plan, grid_of(listening))
    assert np.array_equal(whole.mix, found.mix)
    assert whole.perspectives == {}
    assert np.isfinite(found.mix).all()
    wanted = set(FULL) if treatment == "placed" else {"blended"}
    assert set(found.perspectives) == wanted
    for each in found.perspectives.values():
        assert np.abs(each).max() > 1e-3 * np.abs(found.mix).max()


def test_perspectives_heard_together_are_those_heard_alone() -> None:
    """The tree's do not change when others are added behind it (but for rounding, -120 dB), nor do
    the head's and the close microphone's, bit for bit. Outriggers and ambient do: they are mixed
    from the tree's noise as well, since they stand in the same field."""
    listening, plan = plan_of(PLACES["middle"], FULL)
    grid = grid_of(listening)
    together = seat_response(listening, plan, grid, apart=True).perspectives
    for name, limit in (("tree", 1e-6), ("close", 0.0), ("head", 0.0)):
        alone = seat_response(listening, replace(plan, balance=((name, FULL[name]),)), grid).mix
        assert np.abs(alone - together[name]).max() <= limit * np.abs(alone).max(), name
        assert np.abs(alone).max() > 0.0


def test_balance_scales_a_perspective() -> None:
    """-7 dB on one leaves the others and takes 10^(-7/20) from it."""
    listening, plan = plan_of(PLACES["front"], FULL)
    grid = Grid(RATE, RATE // 2, 0.0)
    before = seat_response(listening, plan, grid, apart=True).perspectives
    for name in ("tree", "ambient", "head"):
        balance = tuple((key, level - 7.0 * (key == name)) for key, level in plan.balance)
        other = replace(plan, balance=balance)
        after = seat_response(listening, other, grid, apart=True).perspectives
        for key in FULL:
            factor = 10.0 ** (-7.0 / 20.0) if key == name else 1.0
            peak = float(np.abs(before[key]).max())
            assert np.abs(after[key] - factor * before[key]).max() < 1e-6 * peak
            assert peak > 0.0


def pink_k_power(responses: NDArray, frames: int) -> float:
    """K-weighted power of pink noise (40 Hz-16 kHz) behind responses, relative to before, with
    the coefficients printed in BS.1770-4 for 48 kHz and another transform length."""
    length = 2 * frames + 7
    frequency = np.fft.rfftfreq(length, 1.0 / RATE)
    inside = (frequency >= 40.0) & (frequency <= 16_000.0)
    omega = 2.0 * np.pi * frequency[inside] / RATE
    _, shelf = freqz(K_TABLE["shelf_b"], K_TABLE["shelf_a"], omega)
    _, cut = freqz(K_TABLE["cut_b"], K_TABLE["cut_a"], omega)
    weight = np.abs(shelf * cut) ** 2 / frequency[inside]
    spectra = np.fft.rfft(responses.reshape(-1, responses.shape[-1]).astype(float), length)
    power = np.sum(np.abs(spectra[:, inside]) ** 2, axis=0)
    return float(np.sum(power * weight) / np.sum(weight))


@pytest.mark.parametrize("treatment", ["placed", "blended"])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("gain", [0.0, -4.0])
def test_held_seats_keep_their_loudness(treatment: str, channels: int, gain: float) -> None:
    """K-weighted power for a pink spectrum over the number of channels is the gain, wherever the
    seat: 0.02 dB against a calculation of the test's own."""
    for place in PLACES.values():
        listening, plan = plan_of(
            place, FULL, channels, level="held", gain=gain, treatment=treatment
        )
        grid = grid_of(listening)
        power = pink_k_power(seat_response(listening, plan, grid).mix, grid.frames) / channels
        assert 10.0 * np.log10(power) == pytest.approx(gain, abs=0.02)


def test_natural_seats_fall_with_distance_by_what_is_reported() -> None:
    levels = []
    for place in PLACES.values():
        listening, plan = plan_of(place, {"tree": 0.0, "outriggers": -6.0})
        grid = grid_of(listening)
        found = seat_response(listening, plan, grid)
        power = pink_k_power(found.mix, grid.frames)
        assert found.level_db == pytest.approx(10.0 * np.log10(power), abs=0.02)
        held = seat_response(listening, replace(plan, held=True), grid)
        assert held.level_db == pytest.approx(found.level_db, abs=1e-9)
        levels.append(found.level_db)
    assert levels[0] > levels[1] + 0.5 > levels[2] + 1.0


def test_held_loudness_is_what_a_meter_reads_of_pink_noise() -> None:
    """20 s of noise, K-weighted by BS.1770's own difference equation, in and out: 0.3 dB."""
    listening, plan = plan_of(PLACES["back"], FULL, level="held")
    responses = seat_response(listening, plan, grid_of(listening)).mix[0]
    frames = 20 * RATE
    frequency = np.fft.rfftfreq(frames, 1.0 / RATE)
    generator = np.random.default_rng(12)
    inside = (frequency >= 40.0) & (frequency <= 16_000.0)
    spectrum = np.zeros(len(frequency), dtype=complex)
    spectrum[inside] = np.exp(2j * np.pi * generator.random(int(inside.sum())))
    spectrum[inside] /= np.sqrt(frequency[inside])
    noise = np.fft.irfft(spectrum)
    noise /= noise.std()

    def k_power(signal: NDArray) -> float:
        shelved = lfilter(K_TABLE["shelf_b"], K_TABLE["shelf_a"], signal)
        steady = lfilter(K_TABLE["cut_b"], K_TABLE["cut_a"], shelved)[4 * RATE : frames]
        return float(np.mean(steady**2))

    heard = sum(k_power(fftconvolve(noise, row.astype(float))) for row in responses)
    assert 10.0 * np.log10(heard / k_power(noise)) == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("treatment", ["placed", "blended"])
def test_nothing_sounds_before_the_direct_sound(treatment: str) -> None:
    """Energy up to 2 ms before the first arrival, 60 dB below the direct sound at least."""
    listening, plan = plan_of(PLACES["middle"], FULL, treatment=treatment)
    found = seat_response(listening, plan, grid_of(listening))
    first = earliest_arrival(listening, [plan]) * RATE
    before = np.sum(found.mix[:, :, : int(first - 0.002 * RATE)].astype(float) ** 2)
    direct = np.sum(found.direct.astype(float) ** 2)
    assert 10.0 * np.log10(max(before, 1e-30) / direct) < -60.0


def test_direct_is_part_of_the_mix() -> None:
    """Up to the first reflection the mix of the tree is its direct sound and what scattering has
    put into the tail by then: 30 dB less on the mean of 8 draws (30.6 over 16, each within 1.5)."""
    listening, plan = plan_of(PLACES["middle"], {"tree": 0.0})
    first = round(earliest_arrival(listening, [plan]) * RATE)
    span = slice(first - 30, first + 60)
    shares = []
    for name in "abcdefgh":
        found = seat_response(listening, replace(plan, name=name), grid_of(listening))
        whole = found.mix[0, :, span].astype(float)
        shares.append(np.sum((whole - found.direct[0, :, span]) ** 2) / np.sum(whole**2))
    assert 10.0 * np.log10(np.mean(shares)) < -30.0
    assert 10.0 * np.log10(max(shares)) < -28.5


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("balance", [{"tree": 0.0, "outriggers": -3.0, "close": -6.0}])
def test_a_mirrored_seat_swaps_left_and_right(channels: int, balance: dict[str, float]) -> None:
    """Direct sound of a seat mirrored at x = 0: outputs and the stem's channels exchanged."""
    x, y = PLACES["back"]
    listening, plan = plan_of((x, y), balance, channels)
    _, other = plan_of((-x, y), balance, channels)
    grid = Grid(RATE, RATE // 4, 0.0)
    first = seat_response(listening, plan, grid).direct
    second = seat_response(listening, other, grid).direct[::-1, ::-1]
    peak = np.abs(first).max()
    assert 20.0 * np.log10(max(np.abs(first - second).max(), 1e-12) / peak) < -120.0
    assert np.abs(first - first[:, ::-1]).max() > 0.1 * peak


def test_stereo_channels_are_two_sources_as_far_apart_as_written() -> None:
    """Each hears its own way to the tree: the arrivals of both channels to 0.1 sample."""
    listening, plan = plan_of(PLACES["middle"], {"tree": 0.0}, 2, width=4.0)
    left, right = (np.array(source.position) for source in plan.sources)
    assert np.linalg.norm(left - right) == pytest.approx(4.0)
    only_left = replace(
        listening,
        microphones=tuple(
            replace(m, gains=(float(m.name == "tree.left"), 0.0)) for m in listening.microphones
        ),
    )
    found = seat_response(only_left, plan, Grid(RATE, RATE // 4, 0.0)).mix
    place = np.array(listening.of("tree")[0].position)
    for source, rows in zip((left, right), found, strict=True):
        wanted = float(np.linalg.norm(source - place)) / listening.room.speed * RATE
        assert arrival_in_samples(rows[0], wanted, RATE) == pytest.approx(wanted, abs=0.1)
    assert middle_source(plan).position == pytest.approx(tuple((left + right) / 2))


def test_tails_of_two_channels_and_two_seats_are_other_noise() -> None:
    listening, plan = plan_of(PLACES["middle"], {"tree": 0.0}, 2)
    grid = grid_of(listening)
    late = slice(round(0.2 * RATE), None)
    one = seat_response(listening, plan, grid).mix[:, 0, late].astype(float)
    other = seat_response(listening, replace(plan, name="two"), grid).mix[:, 0, late]
    for first, second in ((one[0], one[1]), (one[0], other[0].astype(float))):
        alike = np.sum(first * second) / np.sqrt(np.sum(first**2) * np.sum(second**2))
        assert abs(alike) < 0.1
    again = seat_response(listening, plan, grid).mix
    assert np.array_equal(again, seat_response(listening, plan, grid).mix)


@pytest.mark.parametrize("channels", [1, 2])
def test_blended_stems_keep_their_power_and_gain_a_tail(channels: int) -> None:
    """Turning sends no channel into the other's loudspeaker and keeps the sum of powers; `tail`
    scales what is added and nothing else."""
    listening, plan = plan_of(PLACES["back"], FULL, channels, treatment="blended", tail=-6.0)
    grid = grid_of(listening)
    found = seat_response(listening, plan, grid)
    low = np.fft.rfft(found.direct.astype(float), 2**15)[:, :, 40]  # 59 Hz: no loss in the air
    turned = low @ np.conj(low.T)
    assert np.trace(np.abs(turned)) == pytest.approx(channels, abs=0.01)
    assert np.abs(turned - np.diag(np.diag(turned))).max() < 1e-6
    less = seat_response(listening, replace(plan, tail_db=-16.0), grid)

    def added(each: SeatResponse) -> float:
        rest = each.mix.astype(float)
        rest[:, :, : each.direct.shape[2]] -= each.direct
        return float(np.sum(rest**2))

    assert 10.0 * np.log10(added(found) / added(less)) == pytest.approx(10.0, abs=0.05)
    assert added(found) > 0.0


def test_blended_tail_is_as_much_below_the_direct_as_in_the_tree() -> None:
    """At 0 dB a blended stem has the late energy over direct energy of a placed one: 1.5 dB."""

    def late_to_direct(treatment: str) -> float:
        listening, plan = plan_of(PLACES["middle"], {"tree": 0.0}, treatment=treatment, tail=0.0)
        ratios = []
        for seat in range(4):
            found = seat_response(listening, replace(plan, name=str(seat)), grid_of(listening))
            late = np.sum(found.mix[:, :, round(0.15 * RATE) :].astype(float) ** 2)
            _, gains = direct_arrivals(listening, plan.sources[0], ("tree",))
            direct = 1.0 if treatment == "blended" else float(np.sum(gains**2))
            ratios.append(late / direct)
        return float(10.0 * np.log10(np.mean(ratios)))

    assert late_to_direct("blended") == pytest.approx(late_to_direct("placed"), abs=1.5)


@pytest.mark.parametrize("rate", [8_000, 22_050, 192_000])
def test_other_rates_give_sound_responses(rate: int) -> None:
    heard = {name: level for name, level in FULL.items() if rate < 100_000 or name != "head"}
    listening, plan = plan_of(PLACES["front"], heard, level="held")
    found = seat_response(listening, plan, Grid(rate, rate // 2, 0.0))
    assert np.isfinite(found.mix).all()
    assert np.abs(found.mix).max() > 0.01
