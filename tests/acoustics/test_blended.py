"""Blended stems: an image turned without loss of width, phase or loudness; distance as tail.

Width is read as interchannel correlation and as the ratio of side to mid after re-centring (the
level difference taken back), the measures of stereo meters. Signals are equally strong in both
channels, as a stem with a room of its own is.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import oaconvolve

from seatwright.acoustics.impulse_response import Grid, response_seconds
from seatwright.acoustics.listening import SeatPlan, listening_of, seat_plan
from seatwright.acoustics.localisation import level_for_angle
from seatwright.acoustics.panning import pan_angle
from seatwright.acoustics.seat_response import SeatResponse, seat_response
from seatwright.sound.loudness import loudness
from seatwright.stage.scene import Scene

RATE = 48_000
HALL = {"reverberation": 1.2}
BEARINGS = (-60.0, -37.0, -12.0, 12.0, 37.0, 60.0)
SILENT = -200.0


def decibels(ratio: float) -> float:
    return float(10.0 * np.log10(ratio))


def pink(seed: int, rows: int, seconds: float = 4.0) -> NDArray[np.float64]:
    """Independent noises of equal power that fall by 3 dB an octave from 40 Hz on."""
    frames = round(RATE * seconds)
    generator = np.random.default_rng(seed)
    spectrum = np.fft.rfft(generator.normal(size=(rows, frames)), axis=1)
    frequency = np.fft.rfftfreq(frames, 1.0 / RATE)
    spectrum *= np.where(frequency >= 40.0, np.maximum(frequency, 40.0) ** -0.5, 0.0)
    noise = np.fft.irfft(spectrum, frames, axis=1)
    return np.asarray(0.05 * noise / noise.std(axis=1, keepdims=True))


@lru_cache(maxsize=8)
def stem(kind: str) -> NDArray[np.float64]:
    """A stereo stem, shape (2, frames)."""
    first, second, third = pink(3, 3)
    return {
        "mono in both": np.stack([first, first]),
        "decorrelated": np.stack([first, second]),
        "half correlated": np.stack([first, 0.5 * first + 0.75**0.5 * second]),
        "panned wide": np.stack([first + 0.4 * third, second + 0.4 * third]),
    }[kind]


KINDS = ("mono in both", "decorrelated", "half correlated", "panned wide")


@lru_cache(maxsize=32)
def blended(
    bearing: float, distance: float = 6.0, tail: float = SILENT, **keys: object
) -> tuple[SeatResponse, SeatPlan, float]:
    """Responses of a stereo stem, their plan and the angle between the loudspeakers."""
    seat = {
        "stem": "one.wav", "bearing": bearing, "distance": distance, "treatment": "blended",
        "tail": -60.0, "instrument": "other",
    } | keys  # fmt: skip
    scene = Scene(hall=HALL, seats={"one": seat})
    listening, plan = listening_of(scene), seat_plan(scene, "one", 2)
    plan = SeatPlan(**(vars(plan) | {"tail_db": tail}))
    grid = Grid(RATE, round(response_seconds(listening.room) * RATE), 0.0)
    sources = np.mean([source.position for source in plan.sources], axis=0)
    middle = type(plan.sources[0])(tuple(sources), 0.0, "other")
    return seat_response(listening, plan, grid), plan, pan_angle(listening, middle)


def heard(response: SeatResponse, samples: NDArray[np.float64], part: str = "mix") -> NDArray:
    """What the loudspeakers play of a stem, shape (2, frames)."""
    rows = getattr(response, part).astype(float)
    played = [oaconvolve(samples[None, channel], rows[channel], axes=1) for channel in range(2)]
    return np.asarray(played[0] + played[1])


def power(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.sum(rows**2, axis=-1))


def correlation(rows: NDArray[np.float64]) -> float:
    return float(np.sum(rows[0] * rows[1]) / np.sqrt(np.prod(power(rows))))


def side_over_mid(rows: NDArray[np.float64]) -> float:
    """Power of side over mid once both channels are equally strong."""
    left, right = rows / np.sqrt(power(rows))[:, None]
    return float(np.sum((left - right) ** 2) / np.sum((left + right) ** 2))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bearing", BEARINGS)
def test_turning_moves_the_image_and_keeps_its_width(kind: str, bearing: float) -> None:
    """Level difference as Lee and Rumsey 2013 ask for the angle, 0.1 dB; correlation within 0.01;
    side over mid after re-centring within 0.01. A rotation leaves decorrelated stems where they
    are and turns half of the correlation away."""
    response, _, angle = blended(bearing, level="natural")
    dry, wet = stem(kind), heard(response, stem(kind))
    left, right = power(wet)
    shift = decibels(power(dry)[1] / power(dry)[0])
    assert decibels(right / left) - shift == pytest.approx(level_for_angle(angle), abs=0.1)
    assert np.sign(angle) == np.sign(bearing)
    assert correlation(wet) == pytest.approx(correlation(dry), abs=0.01)
    assert side_over_mid(wet) == pytest.approx(side_over_mid(dry), abs=0.01)


def test_principal_axis_turns_as_far_as_the_level_difference() -> None:
    """Of a stem with one strong image in the middle the first principal axis lies at
    atan(right over left); its second stays orthogonal, and small."""
    first, second = pink(5, 2)
    dry = np.stack([first + 0.1 * second, first - 0.1 * second])
    for bearing in BEARINGS:
        response, _, angle = blended(bearing, level="natural")
        wet = heard(response, dry)
        values, axes = np.linalg.eigh(wet @ wet.T)
        found = np.degrees(np.arctan2(abs(axes[1, 1]), abs(axes[0, 1])))
        wanted = np.degrees(np.arctan(10.0 ** (level_for_angle(angle) / 20.0)))
        assert found == pytest.approx(wanted, abs=1.5)
        assert values[0] / values[1] < 0.02


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bearing", [-60.0, -25.0, 0.0, 25.0, 60.0])
def test_turning_keeps_energy_at_any_correlation(kind: str, bearing: float) -> None:
    """0.5 dB below 2 kHz, where the air takes nothing, correlated or not."""
    response, _, _ = blended(bearing, level="natural")
    dry, wet = stem(kind), heard(response, stem(kind))
    length = wet.shape[1]
    low = np.fft.rfftfreq(length, 1.0 / RATE) < 2_000.0
    before, after = (np.abs(np.fft.rfft(rows, length)[:, low]) ** 2 for rows in (dry, wet))
    assert decibels(after.sum() / before.sum()) == pytest.approx(0.0, abs=0.5)


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("bearing", BEARINGS)
def test_nothing_is_turned_out_of_phase(channel: int, bearing: float) -> None:
    """What lies in one channel alone keeps all its power in mono: a rotation by 45 degrees lets
    it vanish there."""
    response, _, _ = blended(bearing, level="natural")
    dry = np.zeros((2, RATE))
    dry[channel] = pink(7, 1, 1.0)[0]
    wet = heard(response, dry)
    assert decibels(power(wet.sum(axis=0)) / power(wet).sum()) > -0.01


def test_straight_ahead_left_and_right_are_untouched() -> None:
    """Apart from the air's loss: one click a channel, flat to 0.05 dB below 1 kHz, no crosstalk."""
    response, _, angle = blended(0.0, level="natural")
    assert angle == pytest.approx(0.0, abs=1e-9)
    direct = response.direct.astype(float)
    assert np.abs(direct[0, 1]).max() == np.abs(direct[1, 0]).max() == 0.0
    assert np.array_equal(direct[0, 0], direct[1, 1])
    frequency = np.fft.rfftfreq(direct.shape[2], 1.0 / RATE)
    level = 20.0 * np.log10(np.abs(np.fft.rfft(direct[0, 0])))
    low = (frequency > 60.0) & (frequency < 1_000.0)
    assert level[low] == pytest.approx(0.0, abs=0.05)
    assert -4.0 < level[np.argmin(np.abs(frequency - 16_000.0))] < -1.0


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bearing", [-50.0, 0.0, 20.0])
@pytest.mark.parametrize("tail", [-60.0, -6.0])
def test_held_loudness_is_the_stems(kind: str, bearing: float, tail: float) -> None:
    """ITU-R BS.1770 integrated loudness of 4 s of pink noise, in and out: 0.3 LU."""
    response, _, _ = blended(bearing, tail=tail, level="held")
    dry = stem(kind)
    wet = heard(response, dry)[:, : dry.shape[1]]
    before, after = (loudness(rows.T.astype(np.float32), RATE) for rows in (dry, wet))
    assert after == pytest.approx(before, abs=0.3)


def tail_over_direct(distance: float, tail: float) -> float:
    response, _, _ = blended(10.0, distance, tail, level="natural")
    rest = response.mix.astype(float)
    rest[:, :, : response.direct.shape[2]] -= response.direct
    return decibels(power(rest).sum() / power(response.direct.astype(float)).sum())


def test_further_is_more_tail() -> None:
    """Direct sound falls with 1 / d from the tree, the tail hardly: from 3 to 11 m more than 5 dB
    of tail over direct, each step up; `tail` adds its decibels to it."""
    ratios = [tail_over_direct(distance, -6.0) for distance in (3.0, 5.0, 7.0, 9.0, 11.0)]
    assert np.diff(ratios).min() > 0.3
    assert ratios[-1] - ratios[0] > 5.0
    assert tail_over_direct(5.0, 0.0) - ratios[1] == pytest.approx(6.0, abs=0.05)
