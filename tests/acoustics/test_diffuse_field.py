"""Coherence in a diffuse field: closed forms against integrals over the sphere."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from seatwright.acoustics.diffuse_field import cross_power, diffuse_mixing
from seatwright.stage.microphones import Microphone

SPEED = 343.2


def sphere(count: int = 96) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Directions over the sphere and their weights: Gauss-Legendre in z, even in azimuth."""
    z, share = np.polynomial.legendre.leggauss(count)
    turn = 2.0 * np.pi * (np.arange(2 * count) + 0.5) / (2 * count)
    ground = np.sqrt(1.0 - z**2)
    directions = np.stack([
        np.outer(ground, np.cos(turn)).ravel(),
        np.outer(ground, np.sin(turn)).ravel(),
        np.repeat(z, 2 * count),
    ], axis=1)  # fmt: skip
    return directions, np.repeat(share / 2.0, 2 * count) / (2 * count)


DIRECTIONS, WEIGHTS = sphere()


def integrated(first: Microphone, second: Microphone, wavenumber: NDArray) -> NDArray:
    """Mean over plane waves from everywhere of conj(first) second, phase taken at each place.

    A wave from u reaches the place p early by u.p / c: exp(+j k u.p).
    """
    patterns = [
        each.omni_share + (1.0 - each.omni_share) * (DIRECTIONS @ np.array(each.aim))
        for each in (first, second)
    ]
    apart = DIRECTIONS @ (np.array(second.position) - np.array(first.position))
    waves = np.exp(1j * np.outer(wavenumber, apart))
    return waves @ (WEIGHTS * patterns[0] * patterns[1])


def unit(x: float, y: float, z: float) -> tuple[float, float, float]:
    size = (x * x + y * y + z * z) ** 0.5
    return (x / size, y / size, z / size)


def test_omnis_hear_alike_by_the_sine_of_the_distance(omni: Callable[..., Microphone]) -> None:
    """Cook et al. 1955: sin(k d) / (k d)."""
    wavenumber = np.linspace(0.0, 80.0, 400)
    found = cross_power(omni((0.0, 0.0, 1.0)), omni((0.3, 0.4, 1.0)), wavenumber)
    assert found.real == pytest.approx(np.sinc(wavenumber * 0.5 / np.pi), abs=1e-9)
    assert found.imag == pytest.approx(0.0, abs=1e-12)


COMPONENT = st.floats(-1.0, 1.0)
VECTOR = st.tuples(COMPONENT, COMPONENT, COMPONENT).filter(lambda v: sum(x * x for x in v) > 0.01)


@given(
    shares=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
    aims=st.tuples(VECTOR, VECTOR),
    apart=VECTOR,
    reach=st.floats(0.05, 1.5),
)
def test_any_pair_is_the_mean_over_all_directions(
    shares: tuple[float, float],
    aims: tuple[tuple[float, float, float], ...],
    apart: tuple[float, float, float],
    reach: float,
) -> None:
    """Elko 2001 in closed form against 18 432 directions of a quadrature over the sphere."""
    place = tuple(reach * each for each in unit(*apart))
    first = Microphone("a", "tree", (0.0, 0.0, 0.0), shares[0], unit(*aims[0]), (1.0, 0.0))
    second = Microphone("b", "tree", place, shares[1], unit(*aims[1]), (0.0, 1.0))
    wavenumber = np.array([0.01, 0.5, 2.0, 7.0, 25.0, 40.0])
    found = cross_power(first, second, wavenumber)
    assert found == pytest.approx(integrated(first, second, wavenumber), abs=2e-7)


@pytest.mark.parametrize(
    ("share", "power"),
    [(1.0, 1.0), (0.7, 0.52), (0.5, 1.0 / 3.0), (0.25, 0.25), (0.0, 1.0 / 3.0)],
)
def test_power_of_one_microphone(share: float, power: float) -> None:
    """Random energy efficiency of first-order patterns: omni 1, cardioid 1/3, hyper 1/4."""
    one = Microphone("a", "tree", (0.0, 0.0, 0.0), share, (0.0, 1.0, 0.0), (1.0, 0.0))
    assert cross_power(one, one, np.array([0.0, 3.0, 30.0])) == pytest.approx(power, abs=1e-9)


def pairs_of(microphones: tuple[Microphone, ...], rate: int, length: int) -> NDArray:
    """Cross power of what the mixing makes of independent noise, shape (bins, mics, mics)."""
    matrices, _ = diffuse_mixing(microphones, rate, length, SPEED)
    return np.einsum("ikf,jkf->fij", matrices, np.conj(matrices)).astype(complex)


def test_mixing_makes_the_cross_power_it_should(omni: Callable[..., Microphone]) -> None:
    """Of any pair of a tree with a cardioid added: mixing times its transpose is the integral."""
    group = (
        omni((-1.0, -1.0, 3.2), "left"),
        omni((0.0, 0.5, 3.2), "centre"),
        Microphone("spot", "tree", (0.4, 1.4, 2.0), 0.5, unit(0.3, 1.0, -0.2), (1.0, 0.0)),
    )
    rate, length = 48_000, 9_600
    made = pairs_of(group, rate, length)
    wavenumber = 2.0 * np.pi * np.arange(len(made)) * rate / length / SPEED
    for one in range(3):
        for other in range(3):
            wanted = integrated(group[one], group[other], wavenumber[:150])
            found = np.conj(made[:150, one, other])
            assert found == pytest.approx(wanted, abs=2e-5)


def test_microphones_above_the_mixed_bins_are_as_good_as_independent(
    omni: Callable[..., Microphone],
) -> None:
    group = (omni((0.0, 0.0, 1.0), "a"), omni((1.7, 0.0, 1.0), "b"))
    matrices, gains = diffuse_mixing(group, 48_000, 48_000, SPEED)
    highest = 2.0 * np.pi * matrices.shape[2] / SPEED
    assert 1.0 / (highest * 1.7) == pytest.approx(0.02, rel=0.01)
    assert gains == pytest.approx([1.0, 1.0])


def test_a_lone_microphone_keeps_its_power() -> None:
    one = (Microphone("a", "tree", (0.0, 0.0, 0.0), 0.5, (0.0, 1.0, 0.0), (1.0, 0.0)),)
    _, gains = diffuse_mixing(one, 48_000, 4_800, SPEED)
    assert gains == pytest.approx([3.0**-0.5], rel=1e-6)


def test_microphones_in_one_place_hear_the_same(omni: Callable[..., Microphone]) -> None:
    """A coincident pair does not break the mixing; both hear one noise at all low bins."""
    group = (omni((0.0, 0.0, 1.0), "a"), omni((0.0, 0.0, 1.0), "b"))
    made = pairs_of(group, 48_000, 2_400)
    assert np.isfinite(made).all()
    assert np.abs(made[:, 0, 1]) == pytest.approx(1.0, abs=1e-3)


def crossed(share: float, half: float) -> tuple[Microphone, Microphone]:
    """Two first-order microphones in one place, turned outwards by half an angle each."""
    out = np.radians(half)
    left, right = (-np.sin(out), np.cos(out), 0.0), (np.sin(out), np.cos(out), 0.0)
    place = (0.0, -1.0, 3.2)
    return (
        Microphone("left", "tree", place, share, left, (1.0, 0.0)),
        Microphone("right", "tree", place, share, right, (0.0, 1.0)),
    )


CROSSED = [(0.0, 45.0), (0.5, 45.0), (0.5, 60.0), (0.25, 50.0), (0.7, 90.0), (0.0, 30.0)]


@pytest.mark.parametrize(("share", "half"), CROSSED)
def test_crossed_pairs_are_as_alike_as_theory_and_chance_say(share: float, half: float) -> None:
    """(a^2 + b^2 cos(angle) / 3) / (a^2 + b^2 / 3): 0 for figure-eights and 3/4 for cardioids at 90
    degrees; and 400 000 random directions."""
    first, second = crossed(share, half)
    k = np.array([0.0, 1.0, 30.0])
    power = cross_power(first, first, k).real
    found = cross_power(first, second, k) / power
    other = 1.0 - share
    common = share**2 + other**2 * np.cos(np.radians(2.0 * half)) / 3.0
    assert found == pytest.approx(common / (share**2 + other**2 / 3.0), abs=1e-9)
    ways = np.random.default_rng(5).standard_normal((400_000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    heard = [share + other * (ways @ np.array(each.aim)) for each in (first, second)]
    by_chance = np.mean(heard[0] * heard[1]) / np.mean(heard[0] ** 2)
    assert found[1].real == pytest.approx(by_chance, abs=0.006)


@pytest.mark.parametrize(("share", "half"), CROSSED)
def test_mixing_a_coincident_pair_with_others_apart(
    share: float, half: float, omni: Callable[..., Microphone]
) -> None:
    """At no distance the matrices reach up to half the rate, and hold the integral there too."""
    group = (*crossed(share, half), omni((4.0, -1.0, 3.2), "outrigger"))
    made = pairs_of(group, 48_000, 9_600)
    assert len(made) == 4_801
    picks = np.array([0, 1, 7, 40, 300, 2_000, 4_800])
    wavenumber = 2.0 * np.pi * picks * 5.0 / SPEED
    for one, other in ((0, 1), (0, 0), (1, 0)):
        wanted = integrated(group[one], group[other], wavenumber)
        assert np.conj(made[picks, one, other]) == pytest.approx(wanted, abs=2e-5)
    low = integrated(group[1], group[2], wavenumber[:4])
    assert np.conj(made[picks[:4], 1, 2]) == pytest.approx(low, abs=2e-5)


def test_seven_first_order_microphones_hold_together_at_the_lowest_bins() -> None:
    """At 0 Hz they hear no more than pressure and three velocities, so rank 4 at most."""
    directions = np.random.default_rng(3).standard_normal((7, 3))
    group = tuple(
        Microphone(str(number), "tree", (0.9 * number, -1.0, 3.0), 0.25, unit(*way), (1.0, 0.0))
        for number, way in enumerate(directions)
    )
    made = pairs_of(group, 48_000, 48_000)
    wavenumber = 2.0 * np.pi * np.arange(40) / SPEED
    for one in range(7):
        for other in range(one):
            wanted = integrated(group[one], group[other], wavenumber)
            assert np.conj(made[:40, one, other]) == pytest.approx(wanted, abs=2e-5)
