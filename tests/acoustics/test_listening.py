"""From a scene to rooms, microphones and plans: everything a seat's responses depend on."""

from __future__ import annotations

import numpy as np
import pytest

from seatwright.acoustics.listening import (
    BLENDED_TAIL_DB,
    earliest_arrival,
    listening_of,
    middle_source,
    seat_plan,
    travel_time,
)
from seatwright.acoustics.room import room_of
from seatwright.errors import SceneError
from seatwright.stage.hall import Hall
from seatwright.stage.scene import Scene

STRINGS = {"perspectives": {"tree": 0.0, "outriggers": -5.0, "close": -11.0}, "gain": 1.5}


def scene(**seats: dict[str, object]) -> Scene:
    return Scene(sections={"strings": STRINGS}, seats=seats)


def seat(**keys: object) -> dict[str, object]:
    return {"stem": "one.wav", "x": 2.0, "y": 4.0, "instrument": "viola"} | keys


def test_listening_holds_the_scenes_room_and_microphones() -> None:
    written = Scene(
        hall={"reverberation": 1.7},
        microphones={"tree": {"width": 2.4}, "close": {"distance": 0.8}, "head": {"y": -5.0}},
        seats={"one": seat()},
    )
    heard = listening_of(written)
    assert heard.room == room_of(Hall(reverberation=1.7))
    assert [m.name for m in heard.of("tree")] == ["tree.left", "tree.centre", "tree.right"]
    assert [len(heard.of(name)) for name in ("outriggers", "ambient", "close")] == [2, 2, 0]
    left, _, right = heard.of("tree")
    assert np.subtract(right.position, left.position) == pytest.approx([2.4, 0.0, 0.0])
    assert heard.close.distance == 0.8
    assert heard.ears.position == pytest.approx((0.0, -5.0, 1.2))
    assert hash(heard) == hash(listening_of(written))


def test_target_out_of_reach_is_a_fault_of_the_scene() -> None:
    with pytest.raises(SceneError) as caught:
        listening_of(Scene(hall={"reverberation": 25.0}, seats={"one": seat()}))
    assert [fault.key for fault in caught.value.faults] == ["hall.reverberation"]


def test_plan_takes_section_and_seat_together() -> None:
    plan = seat_plan(scene(one=seat(gain=-4.0)), "one", 1)
    assert dict(plan.balance) == {"tree": 0.0, "outriggers": -5.0, "close": -11.0}
    assert plan.gain_db == pytest.approx(-2.5)
    assert (plan.treatment, plan.held, plan.tail_db) == ("placed", True, BLENDED_TAIL_DB)
    assert [source.position for source in plan.sources] == [(2.0, 4.0, 1.0)]


def test_seat_goes_before_its_section() -> None:
    own = seat(perspectives={"ambient": -3.0}, level="natural", riser=0.4)
    plan = seat_plan(scene(one=own), "one", 1)
    assert dict(plan.balance) == {"ambient": -3.0}
    assert not plan.held
    assert plan.sources[0].position == pytest.approx((2.0, 4.0, 1.4))


def test_stereo_has_two_sources_about_the_middle() -> None:
    plan = seat_plan(scene(one=seat(width=3.0)), "one", 2)
    first, second = (np.array(source.position) for source in plan.sources)
    assert np.linalg.norm(second - first) == pytest.approx(3.0)
    assert first[0] < second[0]
    assert middle_source(plan).position == pytest.approx((2.0, 4.0, 1.0))
    assert (second - first) @ np.array([2.0, 4.0, 0.0]) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("written", "heard"), [(None, -6.0), (0.0, 0.0), (-14.0, -14.0)])
def test_blended_seats_hear_the_tree_alone(written: float | None, heard: float) -> None:
    keys = seat(treatment="blended") | ({} if written is None else {"tail": written})
    plan = seat_plan(scene(one=keys), "one", 2)
    assert plan.treatment == "blended"
    assert dict(plan.balance) == {"tree": 0.0}
    assert plan.tail_db == heard


def test_plans_differ_in_what_differs_only() -> None:
    """A plan is the key a response is kept under: equal for equal seats, whatever else there is."""
    alone = seat_plan(scene(one=seat()), "one", 1)
    among = seat_plan(scene(one=seat(), two=seat(x=-3.0)), "one", 1)
    moved = seat_plan(scene(one=seat(x=2.01)), "one", 1)
    assert alone == among
    assert hash(alone) == hash(among)
    assert alone != moved


def test_travel_time_is_distance_over_c() -> None:
    heard = listening_of(scene(one=seat()))
    source = seat_plan(scene(one=seat()), "one", 1).sources[0]
    assert travel_time(heard.room, source, (2.0, -4.0, 7.0)) == pytest.approx(10.0 / 343.2)


def test_earliest_arrival_counts_only_what_is_heard() -> None:
    """Head: the nearer ear of a sphere of 8.75 cm; close: at the tree's time; nothing: 0."""
    written = scene(
        head=seat(x=-6.0, y=2.0, perspectives={"head": 0.0}),
        close=seat(x=3.0, y=6.0, perspectives={"close": 0.0}),
    )
    heard = listening_of(written)
    head, close = (seat_plan(written, name, 1) for name in ("head", "close"))
    apart = np.subtract(head.sources[0].position, heard.ears.position)
    distance = float(np.linalg.norm(apart))
    nearer = distance - 0.0875 * abs(apart[0]) / distance
    assert earliest_arrival(heard, [head]) * heard.room.speed == pytest.approx(nearer, abs=1e-6)
    tree = min(
        float(np.linalg.norm(np.subtract(close.sources[0].position, m.position)))
        for m in heard.of("tree")
    )
    assert earliest_arrival(heard, [close]) * heard.room.speed == pytest.approx(tree)
    assert earliest_arrival(heard, [head, close]) * heard.room.speed == pytest.approx(
        min(nearer, tree)
    )
    assert earliest_arrival(heard, []) == 0.0
