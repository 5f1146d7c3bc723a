"""Arrays: starting points as published, mirrored aims, mid and side decoded by hand."""

from __future__ import annotations

import tomllib
from math import cos, hypot, radians, sin
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.stage.arrays import ARRAYS, PATTERNS, Pair, decoded_pair, upwards
from seatwright.stage.hall import Hall
from seatwright.stage.microphones import (
    Ambient,
    Microphone,
    Microphones,
    Outriggers,
    Tree,
    hall_microphones,
)

PUBLISHED = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "arrays.toml").read_text("utf-8")
)


def by_name(**keys: object) -> dict[str, Microphone]:
    found = hall_microphones(Microphones(**keys), Hall())
    return {microphone.name: microphone for microphone in found}


@pytest.mark.parametrize("name", PUBLISHED["pairs"])
def test_pairs_start_as_published(name: str) -> None:
    """Distance of the capsules and angle between the axes, taken from where they hang."""
    width, angle, pattern = PUBLISHED["pairs"][name]
    found = by_name(tree={"array": name})
    left, right = found["tree.left"], found["tree.right"]
    assert "tree.centre" not in found
    assert right.position[0] - left.position[0] == pytest.approx(width, abs=1e-12)
    between = sum(a * b for a, b in zip(left.aim, right.aim, strict=True))
    assert between == pytest.approx(cos(radians(angle)), abs=1e-12)
    assert left.aim[0] < 0.0 < right.aim[0]
    assert left.omni_share == right.omni_share == PATTERNS[pattern]
    assert (left.gains, right.gains) == ((1, 0), (0, 1))


def test_a_spaced_pair_is_two_omnis() -> None:
    found = by_name(tree={"array": "ab", "width": 1.2})
    assert found["tree.left"].position[0] == -0.6
    assert found["tree.right"].omni_share == 1.0


def test_patterns_are_those_of_theory() -> None:
    for name, (share, efficiency, factor) in PUBLISHED["patterns"].items():
        assert PATTERNS[name] == share
        power = share**2 + (1.0 - share) ** 2 / 3.0
        assert power == pytest.approx(efficiency, abs=1e-4)
        assert power**-0.5 == pytest.approx(factor, abs=1e-3)


def test_every_dimension_of_an_array_can_be_changed() -> None:
    keys = {"array": "ortf", "width": 0.25, "aim": 40.0, "pattern": "hypercardioid", "tilt": -30.0}
    found = by_name(tree=keys | {"y": -2.0, "height": 4.0})["tree.right"]
    assert found.position == (0.125, -2.0, 4.0)
    assert found.omni_share == 0.25
    out, up = radians(40.0), radians(-30.0)
    wanted = (sin(out) * cos(up), cos(out) * cos(up), sin(up))
    assert found.aim == pytest.approx(wanted, abs=1e-12)
    assert found.aim[2] < 0.0


@pytest.mark.parametrize("array", ["tree", "outriggers", "ambient"])
def test_aim_turns_outwards_and_tilt_up(array: str) -> None:
    found = by_name(**{array: {"aim": 90.0, "tilt": 20.0, "pattern": "cardioid"}})
    left, right = found[f"{array}.left"], found[f"{array}.right"]
    assert right.aim == pytest.approx((cos(radians(20)), 0.0, sin(radians(20))), abs=1e-12)
    assert left.aim == (-right.aim[0], right.aim[1], right.aim[2])
    back = by_name(**{array: {"aim": 180.0}})[f"{array}.left"]
    assert back.aim == pytest.approx((0.0, -1.0, 0.0), abs=1e-12)


def test_by_default_everything_looks_straight_upstage() -> None:
    assert {microphone.aim for microphone in by_name().values()} == {(0.0, 1.0, 0.0)}
    for array in (Tree(), Outriggers(), Ambient()):
        assert array.tilt == 0.0
    assert Tree().pair == Pair(2.0, 0.0, 0.0, 1.0)


def test_the_centre_of_three_is_tilted_and_not_turned() -> None:
    found = by_name(tree={"aim": 60.0, "tilt": -25.0, "pattern": "cardioid"})
    assert found["tree.centre"].aim == pytest.approx((0, cos(radians(25)), -sin(radians(25))))
    assert found["tree.centre"].omni_share == 0.5


COMPONENT = st.floats(-1.0, 1.0)
WAY = st.tuples(COMPONENT, COMPONENT, COMPONENT).filter(lambda v: hypot(*v) > 0.1)


@given(
    pattern=st.sampled_from(sorted(PATTERNS)),
    side_db=st.floats(-30.0, 20.0),
    tilt=st.floats(-90.0, 90.0),
    way=WAY,
)
def test_mid_and_side_decode_to_their_sum_and_difference(
    pattern: str, side_db: float, tilt: float, way: tuple[float, float, float]
) -> None:
    """Mid looks ahead, side is a figure-eight to the left: m + s and m - s in every direction, but
    for one scale."""
    u = tuple(each / hypot(*way) for each in way)
    share, level = PATTERNS[pattern], 10.0 ** (side_db / 20.0)
    ahead = (0.0, cos(radians(tilt)), sin(radians(tilt)))
    mid = share + (1.0 - share) * sum(a * b for a, b in zip(u, ahead, strict=True))
    side = level * -u[0]
    pair = decoded_pair(pattern, side_db, tilt)
    a = pair.omni_share
    left, right = (
        a + (1.0 - a) * sum(x * y for x, y in zip(u, aim, strict=True)) for aim in pair.aims
    )
    scale = share + hypot(1.0 - share, level)
    assert left * scale == pytest.approx(mid + side, abs=1e-9)
    assert right * scale == pytest.approx(mid - side, abs=1e-9)


def test_mid_side_is_a_crossed_pair_where_it_should_be() -> None:
    """A figure-eight mid with as much side is Blumlein's pair; an omni mid with as much side are
    two cardioids back to back; a mid of 1 / (1 + cos 45) omni gives crossed cardioids."""
    eights = Tree(array="mid-side", pattern="figure-eight").pair
    assert (eights.aim, eights.omni_share) == (pytest.approx(45.0), 0.0)
    assert Tree(array="blumlein").pair.aim == 45.0
    backs = Tree(array="mid-side", pattern="omni").pair
    assert (backs.aim, backs.omni_share) == (pytest.approx(90.0), 0.5)
    narrow = Tree(array="mid-side", side=-6.0).pair
    wide = Tree(array="mid-side", side=6.0).pair
    assert 0.0 < narrow.aim < Tree(array="mid-side").pair.aim < wide.aim < 90.0


def test_upwards_is_a_unit_vector() -> None:
    assert upwards(0.0) == (0.0, 1.0, 0.0)
    assert upwards(90.0) == pytest.approx((0.0, 0.0, 1.0), abs=1e-12)
    assert len(ARRAYS) == 8
