"""Where the direct sound stands between the loudspeakers, against geometry worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import atan2, degrees

import numpy as np
import pytest

from seatwright.acoustics.listening import Listening, SeatPlan, listening_of, seat_plan
from seatwright.acoustics.localisation import heard_bearing, level_for_angle
from seatwright.acoustics.panning import (
    close_pan,
    close_spot,
    direct_arrivals,
    pan_angle,
    panned_arrivals,
)
from seatwright.stage.microphones import Microphones
from seatwright.stage.scene import Scene


def plan_at(x: float, y: float, **balance: float) -> tuple[Listening, SeatPlan]:
    seat = {"stem": "one.wav", "x": x, "y": y, "instrument": "other", "perspectives": balance}
    scene = Scene(seats={"one": seat})
    return listening_of(scene), seat_plan(scene, "one", 1)


def distance(listening: Listening, plan: SeatPlan, name: str) -> float:
    place = next(m.position for m in listening.microphones if m.name == name)
    return float(np.linalg.norm(np.subtract(plan.sources[0].position, place)))


def test_direct_arrivals_are_distance_over_c_and_one_over_distance() -> None:
    listening, plan = plan_at(3.0, 5.0, tree=0.0)
    times, gains = direct_arrivals(listening, plan.sources[0], ("tree", "outriggers"))
    names = [m.name for m in (*listening.of("tree"), *listening.of("outriggers"))]
    away = np.array([distance(listening, plan, name) for name in names])
    assert times * listening.room.speed == pytest.approx(away)
    centre = 10.0 ** (-12.0 / 20.0)
    wanted = np.array([[1, 0], [centre, centre], [0, 1], [1, 0], [0, 1]]) / away[:, None]
    air = np.exp(-0.5 * np.outer(away, listening.room.air[3:7]))
    strength = np.sqrt(np.mean(air**2, axis=1))
    assert gains == pytest.approx(wanted * strength[:, None], rel=1e-6)


def test_panned_arrivals_carry_the_balance() -> None:
    listening, plan = plan_at(-4.0, 6.0, tree=-2.0, ambient=-8.0, close=-10.0)
    times, gains = panned_arrivals(listening, plan)
    plain_times, plain = direct_arrivals(listening, plan.sources[0], ("tree", "ambient"))
    assert times[:-1] == pytest.approx(plain_times)
    assert times[-1] == pytest.approx(plain_times[:3].min())
    factors = 10.0 ** (np.array([-2.0] * 3 + [-8.0] * 2) / 20.0)
    assert gains[:-1] == pytest.approx(plain * factors[:, None])
    spot = 10.0 ** (-10.0 / 10.0) * np.sum(plain[:3] ** 2)
    assert np.sum(gains[-1] ** 2) == pytest.approx(spot)


def test_head_alone_has_no_place_between_loudspeakers() -> None:
    listening, plan = plan_at(1.0, 4.0, head=0.0)
    times, gains = panned_arrivals(listening, plan)
    assert times.shape == (0,)
    assert gains.shape == (0, 2)


@pytest.mark.parametrize(("x", "y"), [(-6.0, 4.0), (-2.0, 7.0), (0.0, 5.0), (3.0, 2.0), (8.0, 3.0)])
def test_pan_angle_is_half_the_bearing_from_the_tree(x: float, y: float) -> None:
    """+-60 degrees of stage on +-30 of loudspeakers; the tree's middle is half a metre behind the
    podium by its default (-1, .5, -1)."""
    listening, plan = plan_at(x, y, tree=0.0)
    bearing = degrees(atan2(x, y + 0.5))
    wanted = max(-30.0, min(30.0, 0.5 * bearing))
    assert pan_angle(listening, plan.sources[0]) == pytest.approx(wanted, abs=1e-6)


def test_close_is_panned_there_at_constant_power() -> None:
    """The level difference of the pan is the one that moves an image to the pan angle."""
    for x in (-7.0, -1.5, 0.0, 2.0, 6.0):
        listening, plan = plan_at(x, 5.0, close=0.0)
        left, right = close_pan(listening, plan.sources[0])
        assert left**2 + right**2 == pytest.approx(1.0)
        angle = pan_angle(listening, plan.sources[0])
        assert 20.0 * np.log10(right / left) == pytest.approx(level_for_angle(angle), abs=1e-6)
        times, gains = panned_arrivals(listening, plan)
        assert heard_bearing(times, gains) == pytest.approx(angle, abs=0.01)


@pytest.mark.parametrize("pattern", ["omni", "cardioid", "figure-eight"])
@pytest.mark.parametrize("away", [0.5, 1.0, 2.5])
def test_close_spot_makes_up_for_its_distance(pattern: str, away: float) -> None:
    """It looks straight at the source: pattern 1, level 1 / d; gain and delay undo the difference
    to the tree."""
    listening, plan = plan_at(4.0, 7.0, close=0.0)
    close = Microphones(close={"distance": away, "pattern": pattern, "height": 0.3}).close
    listening = replace(listening, close=close)
    spot = close_spot(listening, plan.sources[0])
    apart = np.subtract(plan.sources[0].position, spot.microphone.position)
    assert np.linalg.norm(apart) == pytest.approx(away)
    assert np.array(spot.microphone.aim) == pytest.approx(apart / away)
    nearest = min(
        distance(listening, plan, name) for name in ("tree.left", "tree.centre", "tree.right")
    )
    assert spot.delay * listening.room.speed == pytest.approx(nearest - away)
    _, gains = direct_arrivals(listening, plan.sources[0], ("tree",))
    loudness = spot.gain / away
    assert loudness == pytest.approx(float(np.sqrt(np.sum(gains**2))), rel=0.03)


def bearings(**balance: float) -> list[float]:
    """Heard bearings of nine seats from 8 m left to 8 m right, 5 m upstage."""
    return [
        heard_bearing(*panned_arrivals(*plan_at(float(x), 5.0, **balance)))
        for x in np.linspace(-8.0, 8.0, 9)
    ]


def test_bearing_heard_moves_with_the_seat_and_mirrors() -> None:
    """From left to right over the stage the image goes from left to right."""
    for balance in (
        {"tree": 0.0},
        {"tree": 0.0, "outriggers": -6.0, "ambient": -8.0, "close": -10.0},
    ):
        heard = bearings(**balance)
        assert np.diff(heard).min() > 0.0
        assert heard == pytest.approx([-each for each in heard[::-1]], abs=1e-9)
        assert heard[8] > 5.0


def test_outriggers_widen_and_the_trees_centre_holds_the_middle() -> None:
    """A tree's centre 1.5 m ahead leads its sides by more than 1.12 ms for seats within 4 m of the
    middle, so by the first wavefront they are heard there (under 1 degree); outriggers and close
    microphones spread them out."""
    tree, wide = bearings(tree=0.0), bearings(tree=0.0, outriggers=-6.0)
    full = bearings(tree=0.0, outriggers=-6.0, ambient=-8.0, close=-10.0)
    assert max(abs(each) for each in tree[2:7]) < 1.0
    assert wide[8] > tree[8] + 5.0
    assert full[6] > wide[6] > tree[6]


PAIRS = ["three", "ortf", "xy", "blumlein", "mid-side", "ab"]


@pytest.mark.parametrize("array", PAIRS)
def test_close_microphones_of_a_stereo_seat_follow_the_tree(array: str) -> None:
    """Each source has its own: the tree's first arrival less the close travel, by hand; panned to
    its own bearing, so left of the seat's right one."""
    seat = {"stem": "a.wav", "x": 2.0, "y": 6.0, "width": 4.0, "perspectives": {"close": 0.0}}
    scene = Scene(seats={"a": seat}, microphones={"tree": {"array": array}})
    listening, plan = listening_of(scene), seat_plan(scene, "a", 2)
    spots = [close_spot(listening, source) for source in plan.sources]
    for source, spot in zip(plan.sources, spots, strict=True):
        ways = [
            np.linalg.norm(np.subtract(source.position, m.position)) for m in listening.of("tree")
        ]
        own = np.linalg.norm(np.subtract(source.position, spot.microphone.position))
        assert own == pytest.approx(1.0)
        assert spot.delay * listening.room.speed == pytest.approx(float(min(ways) - own))
        middle = np.mean([m.position for m in listening.of("tree")], axis=0)
        bearing = degrees(atan2(source.position[0] - middle[0], source.position[1] - middle[1]))
        left, right = spot.microphone.gains
        wanted = level_for_angle(0.5 * bearing)
        assert 20.0 * np.log10(right / left) == pytest.approx(wanted, abs=1e-6)
    assert spots[0].microphone.gains[1] < spots[1].microphone.gains[1]


@pytest.mark.parametrize("array", PAIRS)
def test_image_moves_with_the_seat_through_every_array(array: str) -> None:
    """From left to right, mirrored, with and without close microphones; the centre of three and the
    half metre of a spaced pair leave the image near the middle."""
    for balance in ({"tree": 0.0}, {"tree": 0.0, "close": -6.0}):
        heard = []
        for x in np.linspace(-5.0, 5.0, 7):
            seat = {"stem": "a.wav", "x": float(x), "y": 6.0, "perspectives": balance}
            scene = Scene(seats={"a": seat}, microphones={"tree": {"array": array}})
            heard.append(
                heard_bearing(*panned_arrivals(listening_of(scene), seat_plan(scene, "a", 1)))
            )
        assert heard == pytest.approx([-each for each in heard[::-1]], abs=1e-9)
        assert np.diff(heard).min() >= -1e-9
        assert heard[-1] > {"three": 0.05, "ab": 0.4}.get(array, 5.0)
