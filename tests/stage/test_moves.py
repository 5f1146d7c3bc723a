"""Moves: written as the scene writes, kept to what a hand can set, refused with why."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.errors import SceneError
from seatwright.stage.moves import (
    as_seating,
    balanced,
    leaf_changes,
    move_faults,
    moved,
    turned,
    written,
)
from seatwright.stage.scene import Scene

SCENES = Path(__file__).parents[2] / "scenes"
FERRY = Scene.model_validate(tomllib.loads((SCENES / "ferry.toml").read_text(encoding="utf-8")))


def test_a_seat_stays_in_the_kind_of_place_it_was_given_in() -> None:
    scene = moved(FERRY, None, "violas", 3.0, 4.0)
    assert leaf_changes(FERRY, scene) == {
        ("seats", "violas", "bearing"): 36.9,
        ("seats", "violas", "distance"): 5.0,
    }
    assert leaf_changes(FERRY, moved(FERRY, None, "choir", -1.2345, 10.999)) == {
        ("seats", "choir", "x"): -1.23,
        ("seats", "choir", "y"): 11.0,
    }


def test_a_move_in_a_seating_changes_that_seating_alone() -> None:
    scene = moved(FERRY, "deep", "horns", -4.0, 9.0)
    assert leaf_changes(FERRY, scene) == {
        ("seatings", "deep", "horns", "bearing"): -24.0,
        ("seatings", "deep", "horns", "distance"): 9.85,
    }
    assert scene.seats == FERRY.seats
    assert leaf_changes(FERRY, turned(FERRY, "deep", "oboe", 190.4)) == {
        ("seatings", "deep", "oboe", "facing"): -170.0
    }


@settings(deadline=None)
@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-720, 720))
def test_a_chair_is_where_the_hand_put_it(x: float, y: float, facing: float) -> None:
    seat = turned(moved(FERRY, None, "oboe", x, y), None, "oboe", facing).seats["oboe"]
    assert seat.floor_place == pytest.approx((x, y), abs=0.035)
    assert -180.0 <= seat.facing_degrees < 180.0
    assert abs((seat.facing_degrees - facing + 180.0) % 360.0 - 180.0) <= 0.5 + 1e-9


def test_a_balance_goes_to_sections_that_are_not_described_too() -> None:
    scene = Scene.model_validate(
        {"seats": {"oboe": {"stem": "o.wav", "instrument": "oboe", "x": 0.0, "y": 4.0}}}
    )
    changed = balanced(scene, "woodwinds", {"tree": -1.04, "close": -12.0})
    assert changed.balance_of(changed.seats["oboe"]) == {"tree": -1.0, "close": -12.0}
    assert written(changed)["sections"] == {
        "woodwinds": {"perspectives": {"tree": -1.0, "close": -12.0}}
    }
    again = balanced(FERRY, "strings", {"tree": 0.0, "outriggers": -4.0, "head": -6.0})
    assert leaf_changes(FERRY, again) == {
        ("sections", "strings", "perspectives", "head"): -6.0,
        ("sections", "strings", "perspectives", "ambient"): None,
        ("sections", "strings", "perspectives", "close"): None,
    }


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda: moved(FERRY, None, "kazoo", 1, 2), 'unknown seat "kazoo"'),
        (lambda: moved(FERRY, None, "low support", 1, 2), "untouched"),
        (lambda: moved(FERRY, None, "choir", 5_000, 2), "1000"),
        (lambda: balanced(FERRY, "gongs", {"tree": 0}), 'no seat in section "gongs"'),
        (lambda: balanced(FERRY, "strings", {}), "no perspective"),
        (lambda: balanced(FERRY, "strings", {"tree": 90.0}), "60"),
        (lambda: balanced(FERRY, "strings", {"roof": 0.0}), "roof"),
    ],
)
def test_what_cannot_be_is_refused(change: object, why: str) -> None:
    with pytest.raises(SceneError) as refused:
        change()  # type: ignore[operator]
    assert why in str(refused.value)


def test_a_chair_in_a_wall_or_on_a_microphone_is_a_fault() -> None:
    outside = moved(FERRY, None, "oboe", 13.0, 6.0)
    assert "outside the hall" in str(move_faults(outside, None, ("oboe",))[0])
    tree = moved(FERRY, None, "oboe", 0.0, 0.5)
    raised = tree.model_copy(
        update={
            "seats": {**tree.seats, "oboe": tree.seats["oboe"].model_copy(update={"riser": 2.0})}
        }
    )
    assert "from tree.centre, wanted at least 0.3 m" in str(move_faults(raised, None, ("oboe",))[0])
    assert move_faults(moved(FERRY, None, "oboe", 3.0, 6.0), None, ("oboe",)) == []


def test_a_seating_that_takes_its_distance_from_elsewhere_is_looked_at_too() -> None:
    """Harp in `compact` has a place of its own; horns in `divided` only another bearing."""
    far = moved(FERRY, None, "horns", 0.0, 13.5)
    turned_round = far.model_copy(
        update={
            "seatings": {
                **far.seatings,
                "divided": {
                    **far.seatings["divided"],
                    "horns": far.seatings["divided"]["horns"].model_copy(update={"bearing": 90.0}),
                },
            }
        }
    )
    (fault,) = move_faults(turned_round, None, ("horns",))
    assert fault.key.startswith("seatings.divided.horns")


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["violas", "choir", "horns"]),
            st.sampled_from([None, "divided", "compact"]),
            st.floats(-6, 6),
            st.floats(2, 11),
        ),
        max_size=5,
    ),
    st.sampled_from([None, "divided", "compact"]),
)
def test_a_seating_made_of_the_difference_gives_the_same_seats(
    moves: list[tuple[str, str | None, float, float]], seating: str | None
) -> None:
    scene = balanced(FERRY, "choir", {"tree": -2.0}) if moves else FERRY
    for name, where, x, y in moves:
        scene = turned(moved(scene, where, name, x, y), where, name, 10 * x)
    wanted = scene.seated(seating)
    changes = as_seating(FERRY, wanted)
    made = FERRY.model_copy(update={"seatings": {"new": changes}}).seated("new")
    for name, seat in wanted.seats.items():
        assert made.seats[name].position == pytest.approx(seat.position, abs=1e-12)
        assert made.seats[name].facing_degrees == seat.facing_degrees
        assert made.balance_of(made.seats[name]) == wanted.balance_of(seat)
