"""The head against the theory of the rigid sphere, and what its two ears hear of a hall."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import inf, pi, radians
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from seatwright.acoustics.head import (
    LEAD,
    ear_axes,
    ear_delay,
    head_filters,
    head_mixing,
    incidence,
    sphere_response,
)
from seatwright.acoustics.impulse_response import Grid, generator_for, head_responses
from seatwright.acoustics.room import Room, room_of
from seatwright.stage.hall import Hall
from seatwright.stage.microphones import Ears, Head, Microphones, listener
from seatwright.stage.seats import Source

SPHERE = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "hearing.toml").read_text("utf-8")
)["sphere"]
SPEED = SPHERE["speed"]
RATE = 48_000


def phase_delay(hertz: float, degrees: float) -> float:
    """Interaural phase delay in microseconds, source at `degrees` towards the near ear."""
    frequency = np.linspace(0.0, hertz, 600)
    near = sphere_response(frequency, pi / 2 - radians(degrees), SPEED)
    far = sphere_response(frequency, pi / 2 + radians(degrees), SPEED)
    lag = np.unwrap(np.angle(near * np.conj(far)))[-1]
    return float(lag / (2.0 * pi * hertz) * 1e6)


@pytest.mark.parametrize("index", range(3))
def test_interaural_delay_by_phase(index: int) -> None:
    """Kuhn 1977: 3 a / c sin below, near Woodworth's above; values to the microsecond."""
    degrees = SPHERE["degrees"][index]
    assert phase_delay(100.0, degrees) == pytest.approx(SPHERE["phase_100_hz"][index], abs=2.0)
    assert phase_delay(3000.0, degrees) == pytest.approx(SPHERE["phase_3_khz"][index], abs=3.0)


@pytest.mark.parametrize("index", range(3))
def test_ear_delays_are_woodworths(index: int) -> None:
    """Woodworth 1938: a / c (theta + sin theta)."""
    turn = radians(SPHERE["degrees"][index])
    near, far = ear_delay(np.array([pi / 2 - turn, pi / 2 + turn]), SPEED)
    assert (far - near) * 1e6 == pytest.approx(SPHERE["woodworth"][index], abs=1.0)


def test_pressure_doubles_at_the_facing_ear() -> None:
    """Duda and Martens 1998: +6 dB at 20 kHz at normal incidence, 0 dB and no phase at 0 Hz."""
    (high,) = sphere_response(np.array([20_000.0]), 0.0, SPEED)
    assert 20.0 * np.log10(abs(high)) == pytest.approx(SPHERE["facing_20_khz_db"], abs=0.2)
    for angle in (0.0, 1.0, pi):
        low = sphere_response(np.array([0.0, 5.0]), angle, SPEED)
        assert np.abs(low) == pytest.approx(1.0, abs=1e-3)


def by_recursion(hertz: float, angle: float, far: float = 10_000.0) -> complex:
    """Duda and Martens' own recursion (their appendix) for a source `far` radii away.

    A second way to the same sum: Hankel quotients by upward recursion instead of scipy's
    functions; exp(-j w t), so the result is conjugated; relative to the free field at the centre.
    """
    x = np.cos(angle)
    mu = 2.0 * pi * hertz * SPHERE["radius"] / SPEED
    zr, za = 1.0 / (1j * mu * far), 1.0 / (1j * mu)
    r2, r1, a2, a1 = zr, zr * (1.0 - zr), za, za * (1.0 - za)
    p2, p1 = 1.0, x
    total = zr / (za * (za - 1.0))
    total += 3.0 * x * zr * (zr - 1.0) / (za * (2.0 * za * (za - 1.0) + 1.0))
    for m in range(2, int(mu) + 40):
        r2, r1 = r1, -(2 * m - 1) * zr * r1 + r2
        a2, a1 = a1, -(2 * m - 1) * za * a1 + a2
        p2, p1 = p1, ((2 * m - 1) * x * p1 - (m - 1) * p2) / m
        total += (2 * m + 1) * p1 * r1 / ((m + 1) * za * a1 - a2)
    return complex(np.conj(far * np.exp(-1j * mu) * total / (1j * mu)))


@pytest.mark.parametrize("hertz", [100.0, 700.0, 2_000.0, 5_000.0, 12_000.0])
@pytest.mark.parametrize("degrees", [0.0, 40.0, 90.0, 130.0, 160.0, 180.0])
def test_sphere_is_that_of_duda_and_martens(hertz: float, degrees: float) -> None:
    """Their recursion for a source 10 000 radii away: size and phase to 1 % of the free field."""
    (ours,) = sphere_response(np.array([hertz]), radians(degrees), SPEED)
    theirs = by_recursion(hertz, radians(degrees))
    assert abs(ours - theirs) < 0.01
    assert 0.05 < abs(ours) < 2.1


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_filters_are_the_sphere(rate: int) -> None:
    """Kept filter and delay together against the sphere itself, 150 Hz-16 kHz: 0.3 dB."""
    bank = head_filters(rate, SPEED)
    frequency = np.geomspace(150.0, 16_000.0, 200)
    turns = np.exp(-2j * pi * np.outer(np.arange(bank.filters.shape[1]) - LEAD, frequency) / rate)
    for degrees in np.arange(0.0, 180.1, 15.0):
        angle = np.array([radians(degrees)])
        late = np.exp(-2j * pi * frequency * ear_delay(angle, SPEED))
        heard = bank.at(angle)[0] @ turns * late
        wanted = sphere_response(frequency, float(angle[0]), SPEED)
        assert np.abs(heard - wanted).max() < 10.0 ** (0.3 / 20.0) - 1.0, degrees


def test_directions_between_are_interpolated_without_combs() -> None:
    """Half way between two kept angles the level stays within 0.5 dB of the sphere to 10 kHz."""
    bank = head_filters(RATE, SPEED)
    frequency = np.geomspace(100.0, 10_000.0, 200)
    turns = np.exp(-2j * pi * np.outer(np.arange(bank.filters.shape[1]) - LEAD, frequency) / RATE)
    for degrees in np.arange(1.25, 150.0, 12.5):
        heard = np.abs(bank.at(np.array([radians(degrees)]))[0] @ turns)
        wanted = np.abs(sphere_response(frequency, radians(degrees), SPEED))
        assert 20.0 * np.log10(heard / wanted) == pytest.approx(0.0, abs=0.5), degrees


def at_ears(room: Room, place: tuple[float, float, float], ears: Ears) -> NDArray[np.float64]:
    """Direct sound at the ears alone: walls that return nothing, and no tail."""
    dead = replace(
        room,
        absorption=((1.0 - 1e-12,) * 9,) * 6,
        scattering=((0.0,) * 9,) * 6,
        mixing_time=0.3,
        reverberation=(0.01,) * 9,
        handed_over=inf,
    )
    noise = [generator_for(room, "seat", 0, ear) for ear in ("ear.left", "ear.right")]
    grid = Grid(RATE, 9_600, 0.0)
    source = Source(place, 180.0, "other")
    return head_responses(dead, source, ears, grid, noise).astype(float)


def lead_of_left(rows: NDArray[np.float64], hertz: float = 500.0) -> float:
    """Microseconds by which the left ear hears a tone before the right, by phase."""
    turns = np.exp(-2j * pi * hertz * np.arange(rows.shape[1]) / RATE)
    left, right = rows @ turns
    return float(np.angle(left * np.conj(right)) / (2.0 * pi * hertz) * 1e6)


def level_difference(rows: NDArray[np.float64], low: float, high: float) -> float:
    """Left over right in dB."""
    frequency = np.fft.rfftfreq(rows.shape[1], 1.0 / RATE)
    inside = (frequency >= low) & (frequency < high)
    power = np.sum(np.abs(np.fft.rfft(rows, axis=1)[:, inside]) ** 2, axis=1)
    return float(10.0 * np.log10(power[0] / power[1]))


EARS = Ears((0.0, -6.0, 1.2), (0.0, 1.0, 0.0))


def around(bearing: float, distance: float = 8.0) -> tuple[float, float, float]:
    """A place at the ears' height, degrees to the right of upstage."""
    turn = radians(bearing)
    return (distance * np.sin(turn), -6.0 + distance * np.cos(turn), 1.2)


def test_direct_sound_arrives_when_it_should_and_as_loud() -> None:
    """Straight ahead both ears hear 1 / d at low frequencies, a / c (pi/2 - pi/2) = 0 late."""
    room = room_of(Hall())
    rows = at_ears(room, around(0.0), EARS)
    assert rows[0] == pytest.approx(rows[1], abs=1e-6)
    turns = np.exp(-2j * pi * 150.0 * np.arange(rows.shape[1]) / RATE)
    assert abs(rows[0] @ turns) == pytest.approx(1.0 / 8.0, rel=0.03)
    frequency = np.fft.rfftfreq(rows.shape[1], 1.0 / RATE)
    chosen = (frequency > 1_000.0) & (frequency < 8_000.0)
    phase = np.unwrap(np.angle(np.fft.rfft(rows[0])[chosen]))
    late = -np.polyfit(2.0 * pi * frequency[chosen], phase, 1)[0]
    assert late * RATE == pytest.approx(8.0 / room.speed * RATE, abs=1.0)


@pytest.mark.parametrize("bearing", [20.0, 45.0, 80.0, 110.0])
def test_left_and_right_are_mirrored(bearing: float) -> None:
    room = room_of(Hall())
    right, left = (at_ears(room, around(side * bearing), EARS) for side in (1.0, -1.0))
    peak = np.abs(right).max()
    assert np.abs(right - left[::-1]).max() < 1e-5 * peak
    assert lead_of_left(left) > 100.0
    assert lead_of_left(right) == pytest.approx(-lead_of_left(left), abs=0.5)
    assert level_difference(left, 3_000.0, 6_000.0) > 3.0


def test_measured_interaural_delay_at_low_frequencies() -> None:
    """The filters as rendered, at 200 Hz: 3 a / c sin (Kuhn 1977) within 4 %."""
    room = room_of(Hall())
    for bearing in (-30.0, -60.0, -90.0):
        wanted = 3.0 * SPHERE["radius"] / room.speed * np.sin(radians(-bearing)) * 1e6
        found = lead_of_left(at_ears(room, around(bearing), EARS), 200.0)
        assert found == pytest.approx(wanted, rel=0.04)


@pytest.mark.parametrize("turned", [-60.0, -25.0, 25.0, 60.0])
def test_a_turned_head_moves_the_image(turned: float) -> None:
    """A head turned right hears a source ahead as one as far left of it, and so on."""
    room = room_of(Hall())
    place = Microphones(head=Head(x=0.0, y=-6.0, turned=turned))
    ears = listener(place, Hall())
    heard = at_ears(room, around(0.0), ears)
    same = at_ears(room, around(-turned), EARS)
    assert np.abs(heard - same).max() < 1e-4 * np.abs(same).max()
    assert np.sign(lead_of_left(heard)) == np.sign(turned)
    assert abs(lead_of_left(at_ears(room, around(turned), ears))) < 0.5


def test_ears_stand_out_left_and_right_of_the_nose() -> None:
    left, right = ear_axes(Ears((0.0, 0.0, 1.2), (0.6, 0.8, 0.0)))
    assert right == pytest.approx([0.8, -0.6, 0.0])
    assert left == pytest.approx(-right)
    directions = np.array([[0.8, -0.6, 0.0], [0.0, 0.0, 1.0], [-0.8, 0.6, 0.0]])
    assert incidence(directions, right) == pytest.approx([0.0, pi / 2, pi])


def band_coherence(rows: NDArray[np.float64], low: float, high: float) -> complex:
    """Coherence of two signals, shape (seats, 2, frames), over a band."""
    frequency = np.fft.rfftfreq(rows.shape[2], 1.0 / RATE)
    spectra = np.fft.rfft(rows, axis=2)[:, :, (frequency >= low) & (frequency < high)]
    cross = np.sum(spectra[:, 0] * np.conj(spectra[:, 1]))
    power = np.sum(np.abs(spectra) ** 2, axis=(0, 2))
    return complex(cross / np.sqrt(power[0] * power[1]))


def sphere_coherence(low: float, high: float) -> float:
    """The same of plane waves from everywhere: an integral over the angle to one ear's axis."""
    z, share = np.polynomial.legendre.leggauss(120)
    frequency = np.linspace(low, high, 40)
    left = np.array([sphere_response(frequency, float(np.arccos(each)), SPEED) for each in z])
    right = left[::-1]  # the other ear hears the direction at pi less the angle
    cross = np.sum(share[:, None] * left * np.conj(right))
    return float(np.real(cross) / np.sum(share[:, None] * np.abs(left) ** 2))


@pytest.mark.parametrize(
    ("low", "high"), [(50.0, 150.0), (200.0, 400.0), (500.0, 900.0), (2_000.0, 4_000.0)]
)
def test_late_sound_is_as_alike_at_the_ears_as_around_a_sphere(low: float, high: float) -> None:
    """Tails of 60 seats at the ears against the sphere in a diffuse field: within 0.06; ears hear
    alike below 200 Hz (above .9) and apart above 2 kHz (below .1)."""
    room, grid = room_of(Hall(reverberation=1.5)), Grid(RATE, 19_200, 0.0)
    source, rows = Source((1.0, 5.0, 1.2), 180.0, "other"), []
    for seat in range(60):
        noise = [generator_for(room, str(seat), 0, ear) for ear in ("ear.left", "ear.right")]
        rows.append(head_responses(room, source, EARS, grid, noise)[:, 7_000:])
    found = band_coherence(np.array(rows, dtype=float), low, high)
    assert found.real == pytest.approx(sphere_coherence(low, high), abs=0.06)
    assert abs(found.imag) < 0.06
    if high < 200.0:
        assert found.real > 0.9
    if low >= 2_000.0:
        assert abs(found) < 0.1


def test_ears_hear_a_diffuse_field_equally_loud() -> None:
    matrices, _ = head_mixing(RATE, 9_600, SPEED)
    power = np.sum(np.abs(matrices) ** 2, axis=1)
    frequency = np.arange(power.shape[1]) * RATE / 9_600
    heard = (frequency > 50.0) & (frequency < 16_000.0)
    assert 10.0 * np.log10(power[1, heard] / power[0, heard]) == pytest.approx(0.0, abs=0.1)
    assert power[0, 10] == pytest.approx(1.0, abs=0.05)
