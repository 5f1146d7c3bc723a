"""Heard bearings against the model worked apart, against ORTF, and the doubts that follow."""

from __future__ import annotations

import tomllib
from itertools import pairwise
from math import atan2, cos, degrees, dist, log10, radians, sin
from pathlib import Path

import numpy as np
import pytest

from seatwright.acoustics.bearings import Bearing, bearing_doubts, seat_bearing
from seatwright.acoustics.head_localisation import interaural_delay
from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import listening_of, seat_plan
from seatwright.acoustics.localisation import heard_bearing
from seatwright.acoustics.seat_figures import SeatFigures, seat_figures
from seatwright.acoustics.seat_response import seat_response
from seatwright.stage.scene import Scene

HEARING = tomllib.loads(
    (Path(__file__).parents[1] / "references" / "hearing.toml").read_text("utf-8")
)
POINTS = [(0.0, 0.0, 0.0), *HEARING["panning"]["points"]]
SPEED = 343.2
BEARINGS = range(-60, 61, 5)


def between(value: float, column: int, wanted: int) -> float:
    """Read the published table of Lee and Rumsey 2013 by straight lines, ends held."""
    for low, high in pairwise(POINTS):
        if value <= high[column]:
            part = (value - low[column]) / (high[column] - low[column])
            return low[wanted] + part * (high[wanted] - low[wanted])
    return POINTS[-1][wanted]


def model(arrivals: list[tuple[float, float, float]]) -> float:
    """Angle of (seconds, amplitude left, amplitude right): the later one counts less, by the level
    that the table sets against its delay; powers add up."""
    first = min(seconds for seconds, _, _ in arrivals)
    power = [0.0, 0.0]
    for seconds, *sides in arrivals:
        weakened = 10.0 ** (-between(1000.0 * (seconds - first), 2, 1) / 10.0)
        for side, amplitude in enumerate(sides):
            power[side] += amplitude**2 * weakened
    level = 10.0 * log10(max(power[1], 1e-9) / max(power[0], 1e-9))
    return between(abs(level), 1, 0) * (1.0 if level >= 0.0 else -1.0)


def tree_model(bearing: float, distance: float, width: float, forward: float) -> float:
    """Three omnis 3.2 m up, the outer two 1 m behind the podium, the centre ahead and 3 dB down
    into both: 1 / r and r / c each; the source 1.2 m up."""
    source = (distance * sin(radians(bearing)), distance * cos(radians(bearing)), 1.2)
    half = 10.0 ** (-12.0 / 20.0)
    microphones = [((-0.5 * width, -1.0, 3.2), 1.0, 0.0), ((0.0, forward - 1.0, 3.2), half, half),
                   ((0.5 * width, -1.0, 3.2), 0.0, 1.0)]  # fmt: skip
    ways = [(dist(source, place), left, right) for place, left, right in microphones]
    return model([(way / SPEED, left / way, right / way) for way, left, right in ways])


def figures(
    balance: dict[str, float], bearing: float, distance: float = 6.0, **tree: float
) -> SeatFigures:
    keys = {"stem": "a.wav", "bearing": float(bearing), "distance": distance}
    seat = keys | {"instrument": "other", "perspectives": balance}
    scene = Scene(hall={"reverberation": 1.0}, microphones={"tree": tree}, seats={"one": seat})
    listening, plan = listening_of(scene), seat_plan(scene, "one", 1)
    return seat_figures(listening, plan, seat_response(listening, plan, Grid(8_000, 2_000, 0.0)))


@pytest.mark.parametrize("distance", [6.0, 11.0])
@pytest.mark.parametrize(
    ("width", "forward", "span"), [(2.0, 1.5, 16.0), (1.2, 0.6, 19.0), (0.9, 0.1, 30.0)]
)
def test_a_tree_is_heard_where_the_model_says(
    width: float, forward: float, span: float, distance: float
) -> None:
    """-60 to 60 degrees every 5: within half a degree of the model worked apart, for the tree's
    own measures and for two closer ones whose seats spread further: one angle for all, or the
    level alone, fails."""
    found = [
        figures({"tree": 0.0}, bearing, distance, width=width, forward=forward).heard_bearing
        for bearing in BEARINGS
    ]
    wanted = [tree_model(bearing, distance, width, forward) for bearing in BEARINGS]
    assert found == pytest.approx(wanted, abs=0.5)
    assert np.ptp(wanted) > span


def ortf(bearing: float) -> float:
    """Image of a distant source before an ORTF pair, by the project's model."""
    pair = HEARING["ortf"]
    late = pair["spacing"] * sin(radians(bearing)) / SPEED
    axes = [side * 0.5 * pair["between_axes"] for side in (-1.0, 1.0)]
    left, right = (0.5 + 0.5 * cos(radians(bearing - axis)) for axis in axes)
    return heard_bearing(np.array([late, 0.0]) - min(late, 0.0), np.array([[left, 0], [0, right]]))


def test_ortf_has_its_published_recording_angle() -> None:
    """96 degrees in all: at 48 the image is at the loudspeaker within 3 degrees, and half way out
    not yet; it never turns back on its way."""
    edge = 0.5 * HEARING["ortf"]["recording_angle"]
    assert ortf(edge) == pytest.approx(30.0, abs=3.0)
    assert 10.0 < ortf(0.5 * edge) < 20.0
    images = [ortf(bearing) for bearing in np.linspace(-edge, edge, 97)]
    assert np.diff(images).min() > 0.1
    assert images == pytest.approx([-image for image in images[::-1]], abs=1e-6)


@pytest.mark.parametrize("turned", [0.0, -20.0])
def test_headphones_are_heard_at_the_geometric_bearing(turned: float) -> None:
    """Within 3 degrees all over a stage, also with the head turned."""
    seats = {
        f"{x}": {"stem": "a.wav", "x": x, "y": 5.0, "perspectives": {"head": 0.0}}
        for x in (-9.0, -5.0, -1.0, 0.0, 4.0, 8.0)
    }
    microphones = {"head": {"y": -3.0, "x": 1.0, "turned": turned}}
    scene = Scene(microphones=microphones, seats=seats)
    listening = listening_of(scene)
    for name in seats:
        found = seat_bearing(listening, seat_plan(scene, name, 1))
        wanted = degrees(atan2(float(name) - 1.0, 8.0)) - turned
        assert found.over == "headphones"
        assert found.placed == pytest.approx(wanted)
        assert found.heard == pytest.approx(wanted, abs=3.0)


@pytest.mark.parametrize("microseconds", [-640.0, -100.0, 0.0, 37.0, 400.0])
def test_interaural_delay_of_shifted_noise(microseconds: float) -> None:
    """A noise and the same later, shifted by the turn of its spectrum: to 5 microseconds."""
    noise = np.random.default_rng(3).standard_normal(2_048)
    noise[512:] = 0.0
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(2_048, 1 / 48_000) * (microseconds * 1e-6 + 2e-3))
    early = np.exp(-2j * np.pi * np.fft.rfftfreq(2_048, 1 / 48_000) * 2e-3)
    left, right = (np.fft.irfft(np.fft.rfft(noise) * by) for by in (turn, early))
    ears = np.stack([left, right]).astype(np.float32)
    assert interaural_delay(ears, 48_000) == pytest.approx(microseconds * 1e-6, abs=5e-6)


def over(heard: float, placed: float, base: str = "loudspeakers") -> Bearing:
    return Bearing(heard, placed, base)


def test_a_seat_far_from_its_place_is_told_with_both_numbers() -> None:
    told = bearing_doubts({"near": over(-3.0, -12.9), "far off": over(2.0, 12.1)})
    assert [fault.key for fault in told] == ['seats."far off"']
    assert "+2.0" in told[0].what and "+12.1" in told[0].what
    assert "close" in told[0].hint
    (at_head,) = bearing_doubts({"a": over(40.0, 20.0, "headphones")})
    assert "over headphones" in at_head.what and "close" not in at_head.hint


def test_the_way_out_is_told_once_for_each_base() -> None:
    bases = ["loudspeakers", "loudspeakers", "headphones", "headphones"]
    far = {name: over(0.0, 15.0, base) for name, base in zip("abcd", bases, strict=True)}
    hints = [fault.hint for fault in bearing_doubts(far)]
    assert [bool(hint) for hint in hints] == [True, False, True, False]


def test_swapped_seats_are_told_once_for_many_pairs() -> None:
    """One seat on the wrong side of four: one doubt, not four."""
    seats = {f"s{n}": over(2.0 * n, 2.0 * n) for n in range(1, 5)} | {"lost": over(9.5, 0.0)}
    (told,) = bearing_doubts(seats)
    assert told.key == "seats.lost"
    assert 'wrong side of "s1" (and 3 more)' in told.what
    assert "+9.5" in told.what and "+2.0" in told.what


@pytest.mark.parametrize(
    ("first", "second", "swapped"),
    [
        (over(1.1, 0.0), over(0.0, 1.6), True),
        (over(0.0, 1.6), over(1.1, 0.0), True),
        (over(0.9, 0.0), over(0.0, 1.6), False),  # heard less than a degree apart
        (over(5.0, 0.0), over(0.0, 1.4), False),  # written less than 3 degrees of stage apart
        (over(5.0, 0.0, "headphones"), over(0.0, 2.0, "headphones"), False),
        (over(5.0, 0.0, "headphones"), over(0.0, 4.0, "headphones"), True),
        (over(5.0, 0.0), over(0.0, 4.0, "headphones"), False),  # nobody hears both at once
        (over(0.0, 0.0), over(5.0, 4.0), False),
    ],
)
def test_what_counts_as_swapped(first: Bearing, second: Bearing, swapped: bool) -> None:
    assert len(bearing_doubts({"a": first, "b": second})) == int(swapped)


def test_close_microphones_bring_a_seat_to_its_place() -> None:
    """What the hint says helps: a horn seat by the tree alone is far off, with close raised not."""
    for balance, doubts in (({"tree": 0.0}, 1), ({"tree": 0.0, "close": 12.0}, 0)):
        found = figures(balance, 35.0, 10.0)
        assert len(bearing_doubts({"horns": found.bearing})) == doubts
