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
    ("share", "power"), [(1.0, 1.0), (0.5, 1.0 / 3.0), (0.25, 0.25), (0.0, 1.0 / 3.0)]
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
