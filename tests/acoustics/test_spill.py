"""Spill: each seat in the others' close microphones, against microphones rendered one by one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import (
    Grid,
    early_responses,
    generator_for,
    microphone_arrivals,
    microphone_responses,
    response_seconds,
    tail_responses,
)
from seatwright.acoustics.listening import (
    Listening,
    SeatPlan,
    earliest_arrival,
    listening_of,
    others_open,
    seat_plan,
)
from seatwright.acoustics.localisation import heard_bearing
from seatwright.acoustics.panning import close_spot, open_spots, panned_arrivals, spill_arrivals
from seatwright.acoustics.seat_figures import seat_figures
from seatwright.acoustics.seat_response import seat_response
from seatwright.acoustics.spill import spill_responses
from seatwright.acoustics.tail import hand_over
from seatwright.stage.scene import Scene

RATE = 48_000
PLACES = {"a": (-4.0, 4.0), "b": (3.0, 5.0), "c": (0.5, 8.0), "d": (6.0, 8.0)}
CLOSE = {"tree": 0.0, "close": -6.0}


def scene_of(spill: float | None = 0.0, **more: Any) -> Scene:
    close = {} if spill is None else {"spill": spill}
    seats = {
        name: {"stem": f"{name}.wav", "x": x, "y": y, "perspectives": CLOSE, "level": "natural"}
        for name, (x, y) in PLACES.items()
    }
    seats |= {name: seats.get(name, {}) | keys for name, keys in more.pop("seats", {}).items()}
    hall = {"reverberation": 1.5}
    keys = {"hall": hall, "microphones": {"close": close}, "seats": seats}
    return Scene.model_validate(keys | more)


def heard(scene: Scene, name: str = "a", channels: int = 1) -> tuple[Listening, SeatPlan, Grid]:
    listening = listening_of(scene)
    frames = round(response_seconds(listening.room) * RATE)
    return listening, seat_plan(scene, name, channels), Grid(RATE, frames, 0.0)


def test_there_is_none_by_default() -> None:
    listening, plan, grid = heard(scene_of(None))
    assert listening.open_seats == ()
    assert others_open(listening, plan) == ()
    assert open_spots(listening, plan) == ()
    alone, own, _ = heard(scene_of(None, seats={}))
    assert np.array_equal(
        seat_response(listening, plan, grid).mix, seat_response(alone, own, grid).mix
    )


def test_microphones_are_those_of_the_other_seats_as_mixed_there() -> None:
    """Place, aim, pan, delay and gain of each seat's own close microphone, its balance in it."""
    scene = scene_of(-3.0, seats={"b": {"perspectives": {"tree": 0.0, "close": -11.0}}})
    listening, plan, _ = heard(scene)
    spots = open_spots(listening, plan)
    assert len(spots) == 3
    for name, balance, spot in zip("bcd", (-11.0, -6.0, -6.0), spots, strict=True):
        own = close_spot(listening, seat_plan(scene, name, 1).sources[0])
        assert (spot.microphone, spot.delay) == (own.microphone, own.delay)
        assert spot.gain == pytest.approx(own.gain * 10.0 ** ((balance - 3.0) / 20.0))


@pytest.mark.parametrize("channels", [1, 2])
def test_the_early_part_is_that_of_the_microphones_one_by_one(channels: int) -> None:
    """Direct sound and all images of each, panned and delayed by hand; up to the mixing time there
    is the tail of scattering as well, so the comparison is in a hall that scatters nothing."""
    walls = ("floor", "ceiling", "left", "right", "upstage", "rear")
    surfaces = {wall: {"absorption": 0.3, "scattering": 0.0} for wall in walls}
    scene = scene_of(hall={"scattering": 0.0, "surfaces": surfaces})
    listening, plan, grid = heard(scene, channels=channels)
    for index, source in enumerate(plan.sources):
        found = spill_responses(listening, plan, index, grid).astype(float)
        wanted = np.zeros((2, grid.frames))
        for spot in open_spots(listening, plan):
            arrivals = microphone_arrivals(listening.room, source, [spot.microphone])
            early = early_responses(listening.room, arrivals, grid, np.array([spot.delay]))[0]
            for side in range(2):
                gain = spot.gain * spot.microphone.gains[side]
                wanted[side, : len(early)] += gain * early
        until = int(0.75 * hand_over(listening.room).min() * RATE)
        peak = np.abs(wanted).max()
        assert np.abs(found - wanted)[:, :until].max() < 3e-3 * peak
        assert peak > 0.0


def test_direct_sound_is_gain_times_pattern_over_distance_on_time() -> None:
    """By hand for one other seat, a cardioid, where nothing scatters: 0.1 sample and 0.2 dB."""
    listening, plan, grid = heard(scene_of(hall={"reverberation": 1.5, "scattering": 0.0}))
    listening = replace(listening, open_seats=listening.open_seats[1:2])
    (spot,) = open_spots(listening, plan)
    apart = np.subtract(plan.sources[0].position, spot.microphone.position)
    way = float(np.linalg.norm(apart))
    pattern = 0.5 + 0.5 * float(np.array(spot.microphone.aim) @ apart) / way
    times, gains = spill_arrivals(listening, plan)
    assert times == pytest.approx([way / listening.room.speed + spot.delay])
    assert np.sqrt(np.sum(gains**2)) == pytest.approx(spot.gain * pattern / way, rel=0.02)
    found = spill_responses(listening, plan, 0, grid).astype(float)
    first = times[0] * RATE
    span = slice(round(first) - 40, round(first) + 40)
    turns = np.exp(-2j * np.pi * np.outer([1_000.0, 2_000.0], np.arange(80)) / RATE)
    low, high = turns @ found[0, span] / (gains[0, 0])
    assert 20.0 * np.log10(np.abs(low)) == pytest.approx(0.0, abs=0.2)
    delay = (np.angle(low / high) / (2.0 * np.pi * 1_000.0) * RATE) % (RATE / 1_000.0)
    assert span.start + delay == pytest.approx(first, abs=0.1)
    assert not found[:, : round(first) - 60].any() or (
        np.abs(found[:, : round(first) - 60]).max() < 1e-3 * np.abs(found).max()
    )


def powers(tails: NDArray, low: float, high: float) -> NDArray:
    """Power left, right and common in a band, after 0.15 s."""
    spectra = np.fft.rfft(tails[:, round(0.15 * RATE) :].astype(float), axis=1)
    frequency = np.fft.rfftfreq(tails.shape[1] - round(0.15 * RATE), 1.0 / RATE)
    left, right = spectra[:, (frequency > low) & (frequency < high)]
    return np.array([
        np.sum(np.abs(left) ** 2), np.sum(np.abs(right) ** 2), np.sum(left * np.conj(right)).real
    ])  # fmt: skip


def test_the_one_tail_is_as_strong_and_as_alike_as_all_of_them_together() -> None:
    """Against tails of every microphone apart, panned and added: 0.7 dB and 0.1 in each octave."""
    listening, plan, grid = heard(scene_of())
    spots = open_spots(listening, plan)
    apart = []
    for number in range(6):
        total = np.zeros((2, grid.frames))
        for index, spot in enumerate(spots):
            generator = generator_for(listening.room, f"test {number}", index, "close")
            groups = [((spot.microphone,), spot.delay)]
            tail = tail_responses(listening.room, grid, groups, [generator])[0]
            total += spot.gain * np.outer(spot.microphone.gains, tail)
        apart.append(total)
    made = [
        spill_responses(listening, replace(plan, name=f"seed {number}"), 0, grid)
        for number in range(6)
    ]
    for band in (250.0, 500.0, 1_000.0, 2_000.0, 4_000.0):
        edges = band * 2.0**-0.5, band * 2.0**0.5
        wanted = np.mean([powers(each, *edges) for each in apart], axis=0)
        found = np.mean([powers(each, *edges) for each in made], axis=0)
        assert 10.0 * np.log10(found[:2] / wanted[:2]) == pytest.approx([0.0, 0.0], abs=0.7)
        alike = [each[2] / np.sqrt(each[0] * each[1]) for each in (found, wanted)]
        assert alike[0] == pytest.approx(alike[1], abs=0.1)
        assert alike[1] > 0.3


def test_no_microphone_hears_its_tail_before_its_direct_sound() -> None:
    """A near one turned down by 60 dB sounds first; the far one joins in when sound gets there, not
    before: 25 dB above 500 Hz, in a hall whose tail begins at once."""
    listening, plan, grid = heard(scene_of(hall={"scattering": 0.9}))
    near, far = listening.open_seats[1], listening.open_seats[3]
    pair = (replace(near, level_db=-60.0), replace(far, level_db=0.0))
    listening = replace(listening, open_seats=pair)
    times, _ = spill_arrivals(listening, plan)
    assert times[1] - times[0] > 0.004
    sound = spill_responses(listening, plan, 0, grid).astype(float)
    spectra = np.fft.rfft(sound, axis=1)
    spectra[:, np.fft.rfftfreq(grid.frames, 1.0 / RATE) < 500.0] = 0.0
    high = np.fft.irfft(spectra, grid.frames, axis=1)
    start, joined = round(times[0] * RATE), round(times[1] * RATE)
    before = np.mean(high[:, start : joined - round(0.002 * RATE)] ** 2)
    after = np.mean(high[:, joined + 100 : joined + round(0.02 * RATE)] ** 2)
    assert 10.0 * np.log10(before / after) < -25.0


def test_energy_is_that_of_the_microphones_in_full() -> None:
    """Early and late together, against whole responses of each microphone: 0.5 dB."""
    listening, plan, grid = heard(scene_of())
    found, wanted = 0.0, 0.0
    for number in range(4):
        named = replace(plan, name=f"seed {number}")
        found += float(np.sum(spill_responses(listening, named, 0, grid).astype(float) ** 2))
        total = np.zeros((2, grid.frames))
        for spot in open_spots(listening, plan):
            generator = generator_for(listening.room, str(number), 0, str(spot.delay))
            groups = [((spot.microphone,), spot.delay)]
            row = microphone_responses(listening.room, plan.sources[0], groups, grid, [generator])
            total += spot.gain * np.outer(spot.microphone.gains, row[0])
        wanted += float(np.sum(total**2))
    assert 10.0 * np.log10(found / wanted) == pytest.approx(0.0, abs=0.5)


def test_it_is_added_to_the_close_perspective_at_its_level() -> None:
    off, plan, grid = heard(scene_of(None))
    dry = seat_response(off, plan, grid, apart=True).perspectives
    parts = {}
    for level in (0.0, -6.0):
        listening, plan, grid = heard(scene_of(level))
        response = seat_response(listening, plan, grid, apart=True)
        assert np.array_equal(response.perspectives["tree"], dry["tree"])
        parts[level] = response.perspectives["close"].astype(float) - dry["close"]
        total = sum(part.astype(float) for part in response.perspectives.values())
        assert np.abs(total - response.mix).max() < 1e-6 * np.abs(total).max()
    peak = np.abs(parts[0.0]).max()
    assert np.abs(parts[-6.0] - 10.0 ** (-6.0 / 20.0) * parts[0.0]).max() < 1e-5 * peak
    assert peak > 1e-2 * np.abs(dry["close"]).max()


def test_what_is_heard_of_a_seat_does_not_depend_on_mutes() -> None:
    """Nor on the gain and level of others: that is theirs who play, not their microphone's."""
    listening, plan, grid = heard(scene_of())
    wanted = seat_response(listening, plan, grid).mix
    loud = {"b": {"mute": True}, "c": {"solo": True}, "d": {"gain": 9.0, "level": "held"}}
    other, same, _ = heard(scene_of(seats=loud))
    assert np.array_equal(seat_response(other, same, grid).mix, wanted)


def test_blended_and_untouched_seats_have_no_part_in_it() -> None:
    seats = {"b": {"treatment": "blended"}, "c": {"treatment": "untouched"}}
    listening, _, grid = heard(scene_of(seats=seats))
    assert [seat.name for seat in listening.open_seats] == ["a", "d"]
    dry, blended, _ = heard(scene_of(None, seats=seats), "b")
    _, same, _ = heard(scene_of(seats=seats), "b")
    assert np.array_equal(
        seat_response(listening, same, grid).mix, seat_response(dry, blended, grid).mix
    )


def test_a_seat_without_a_close_microphone_is_heard_in_the_others() -> None:
    far = {"a": {"perspectives": {"tree": 0.0}}}
    listening, plan, grid = heard(scene_of(seats=far))
    found = seat_response(listening, plan, grid, apart=True).perspectives
    assert set(found) == {"tree", "close"}
    assert found["close"].any()
    alone = replace(listening, open_seats=listening.open_seats[:1])
    _, itself, _ = heard(scene_of(), "b")
    quiet = replace(itself, balance=(("tree", 0.0),))
    found = seat_response(alone, quiet, grid, apart=True).perspectives
    assert not found["close"].any()


def test_seats_at_one_place_share_a_microphone() -> None:
    """Layers of one instrument do not hear each other twice."""
    layer = {"stem": "e.wav", "x": 3.0, "y": 5.0, "perspectives": CLOSE}
    listening, _, _ = heard(scene_of(seats={"e": layer}))
    assert [seat.name for seat in listening.open_seats] == ["a", "b", "c", "d"]
    _, second, _ = heard(scene_of(seats={"e": layer}), "e")
    assert [seat.name for seat in others_open(listening, second)] == ["a", "c", "d"]


def test_the_earliest_arrival_knows_of_it() -> None:
    """A close microphone beyond the podium hears a seat on the other side before the tree does."""
    seats = {
        name: {"stem": "a.wav", "x": x, "y": y, "width": 0, "perspectives": CLOSE}
        for name, (x, y) in {"a": (2.3, 1.6), "b": (-1.24, 0.05)}.items()
    }
    microphones: dict[str, Any] = {"close": {"distance": 2.5}}
    dry = Scene.model_validate({"seats": seats, "microphones": microphones})
    microphones["close"]["spill"] = 0.0
    wet = Scene.model_validate({"seats": seats, "microphones": microphones})
    listening, plan, _ = heard(wet)
    early = earliest_arrival(listening, [plan])
    assert early < earliest_arrival(listening_of(dry), [plan]) - 0.003
    times, _ = spill_arrivals(listening, plan)
    assert early == pytest.approx(float(times.min()))
    grid = Grid(RATE, RATE, early)
    whole = Grid(RATE, RATE, early - 0.01)
    found = spill_responses(listening, plan, 0, grid).astype(float)
    more = spill_responses(listening, plan, 0, whole).astype(float)[:, : round(0.02 * RATE)]
    start = np.sum(found[:, : round(0.01 * RATE)] ** 2)
    assert 10.0 * np.log10(start / np.sum(more**2)) == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize("array", ["three", "xy", "mid-side"])
def test_spill_pulls_towards_the_others_and_takes_directness(array: str) -> None:
    """A seat on the left with all others on its right is heard further right and less direct, from
    close microphones in front of the tree and 12 dB more spill than there would be."""
    figures = {}
    for spill in (None, 12.0):
        balance = {"perspectives": {"tree": -12.0, "close": 0.0}}
        scene = scene_of(spill, seats=dict.fromkeys(PLACES, balance))
        keys = scene.model_dump(exclude_none=True)
        keys["microphones"]["tree"] = {"array": array}
        scene = Scene.model_validate(keys)
        listening, plan, grid = heard(scene)
        figures[spill] = seat_figures(listening, plan, seat_response(listening, plan, grid))
        bearing = heard_bearing(*panned_arrivals(listening, plan))
        assert figures[spill].heard_bearing == pytest.approx(bearing)
    wet, dry = figures[12.0], figures[None]
    assert wet.direct_to_reverberant_db < dry.direct_to_reverberant_db - 3.0
    assert wet.level_db > dry.level_db + 0.1
    assert wet.heard_bearing > dry.heard_bearing + 0.01


@pytest.mark.parametrize("channels", [1, 2])
def test_a_mirrored_stage_spills_mirrored(channels: int) -> None:
    """Early part: every seat on the other side, outputs and the stem's channels exchanged."""
    still = {"hall": {"scattering": 0.0}}
    mirrored = {name: {"x": -x} for name, (x, _) in PLACES.items()}
    listening, plan, grid = heard(scene_of(**still), channels=channels)
    other, turned, _ = heard(scene_of(seats=mirrored, **still), channels=channels)
    until = int(0.75 * hand_over(listening.room).min() * RATE)
    for index in range(channels):
        first = spill_responses(listening, plan, index, grid)[:, :until]
        second = spill_responses(other, turned, channels - 1 - index, grid)[::-1, :until]
        peak = np.abs(first).max()
        assert np.abs(first - second).max() < 0.02 * peak
        assert np.abs(first - second[::-1]).max() > 0.2 * peak


def test_the_same_scene_gives_the_same_samples() -> None:
    listening, plan, grid = heard(scene_of())
    first = spill_responses(listening, plan, 0, grid)
    assert np.array_equal(first, spill_responses(listening, plan, 0, grid))
    assert first.dtype == np.float32
    assert first.shape == (2, grid.frames)
