"""Rules of a scene: who may stand where, with the key and the distance in every fault."""

from __future__ import annotations

from typing import Any

import pytest

from seatwright.errors import Fault
from seatwright.stage.rules import nearest, scene_doubts, scene_faults
from seatwright.stage.scene import Scene

SEAT = {"stem": "a.wav", "x": 1, "y": 5, "width": 1}


def scene(**keys: Any) -> Scene:
    return Scene.model_validate({"seats": {"a": SEAT}} | keys)


def with_seat(**keys: Any) -> Scene:
    return scene(seats={"a": SEAT, "vln. 1": SEAT | keys})


def only(faults: list[Fault]) -> Fault:
    assert len(faults) == 1, faults
    return faults[0]


def test_sound_scene_has_neither_fault_nor_doubt() -> None:
    assert scene_faults(scene()) == []
    assert scene_doubts(scene()) == []


def test_key_of_a_seat_is_quoted_as_toml_needs_it() -> None:
    assert only(scene_faults(with_seat(x=40))).key == 'seats."vln. 1".x'


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"x": 12}, "the seat is outside the hall: found x = 12.00 m, 1.10 m outside"),
        ({"y": -30}, "found y = -30.00 m, 6.10 m outside, wanted -23.90 to 11.90 m"),
        ({"riser": 20}, "found a height of 21.20 m above the stage floor, 5.30 m outside"),
        ({"x": 10.5, "y": 1, "width": 6}, ""),
        ({"x": 10, "y": 10, "width": 8}, "an end of its width is outside the hall"),
    ],
)  # fmt: skip
def test_seat_stays_inside_with_its_whole_width(keys: dict[str, float], says: str) -> None:
    faults = scene_faults(with_seat(**keys))
    assert bool(faults) == bool(says)
    assert all(says in fault.what for fault in faults)


POLAR = {"stem": "a.wav", "bearing": 20, "distance": 5}


@pytest.mark.parametrize(
    ("seat", "key"),
    [
        (SEAT | {"x": 30, "y": 30}, "x"),
        (SEAT | {"y": 30}, "y"),
        (POLAR | {"distance": 40}, "distance"),
        (POLAR | {"height": 20, "riser": 1}, "height"),
        (POLAR | {"height": 1, "riser": 20}, "riser"),
        (POLAR | {"height": 0}, "height"),
        (POLAR | {"bearing": 90, "distance": 9, "width": 9}, ""),
        (SEAT | {"x": 9, "y": 6, "width": 9}, "width"),
    ],
)
def test_a_seat_outside_is_told_at_the_key_that_was_written(seat: dict[str, Any], key: str) -> None:
    found = scene(hall={"size": {"width": 20}}, seats={"a": seat})
    faults = scene_faults(found)
    if not key:  # the width lies along the depth there: nothing is outside
        assert faults == []
        return
    assert only(faults).key == f"seats.a.{key}"


def test_what_an_alternative_does_not_write_is_told_at_its_seat() -> None:
    """An alternative that leaves a seat where it is, outside, and one that only turns it."""
    louder = scene(seats={"a": SEAT | {"x": 30}}, seatings={"s": {"a": {"gain": -1}}})
    assert [fault.key for fault in scene_faults(louder)] == ["seats.a.x", "seatings.s.a"]
    narrow = {"size": {"width": 8}}
    turned = scene(
        hall=narrow,
        seats={"a": POLAR | {"width": 0}},
        seatings={"s": {"a": {"bearing": 80}}},
        microphones={"outriggers": {"width": 4}},
    )
    fault = only(scene_faults(turned))
    assert (fault.key, fault.hint) == (
        "seatings.s.a.bearing", "bearing 80 degrees, distance 5 m"
    )  # fmt: skip


@pytest.mark.parametrize(("gap", "near"), [(0.29, True), (0.31, False)])
@pytest.mark.parametrize(
    ("heard", "treatment"), [("head", "placed"), ("tree", "placed"), ("head", "blended")]
)
def test_a_seat_keeps_off_the_head_that_hears_it(
    gap: float, near: bool, heard: str, treatment: str
) -> None:
    seat = SEAT | {"x": 2, "y": 6 + gap, "width": 0, "height": 1.2, "treatment": treatment}
    head = {"head": {"x": 2, "y": 6, "height": 1.2}}
    found = scene(microphones=head, seats={"a": seat | {"perspectives": {heard: 0}}})
    told = [fault.what for fault in scene_faults(found)]
    wanted = near and (heard, treatment) == ("head", "placed")
    assert told == [f"found {gap:.2f} m from the listener's head, wanted at least 0.3 m"] * wanted


@pytest.mark.parametrize(("y", "near"), [(0.25, True), (0.19, False), (0.81, False), (0.79, True)])
def test_seat_keeps_three_decimetres_from_microphones(y: float, near: bool) -> None:
    low = {"tree": {"height": 1.2, "forward": 1.5}, "outriggers": {"height": 3}}
    found = scene(
        microphones=low, seats={"a": SEAT | {"x": 0, "y": y, "width": 0, "instrument": "oboe"}}
    )
    faults = [fault for fault in scene_faults(found) if "tree.centre" in fault.what]
    assert bool(faults) == near
    if near:
        assert (
            faults[0].what == f"found {abs(y - 0.5):.2f} m from tree.centre, wanted at least 0.3 m"
        )


def test_microphone_outside_counts_where_it_is_heard_or_written() -> None:
    deep = {"ambient": {"distance": 30}}
    faults = scene_faults(scene(microphones=deep))
    assert {fault.key for fault in faults} == {"microphones.ambient"}
    assert "ambient.left stands outside the hall: found y = -30.00 m" in faults[0].what
    tight = {"size": {"width": 7}}
    wide = {"tree": {"width": 8}}
    quiet = {"support": {"perspectives": {"close": 0}}}
    assert scene_faults(scene(hall=tight, microphones=wide, sections=quiet)) != []


def test_head_outside() -> None:
    fault = only(scene_faults(scene(microphones={"head": {"x": 15}})))
    assert (fault.key, "the head is outside the hall" in fault.what) == ("microphones.head", True)


def test_close_microphone_outside_counts_where_it_is_heard() -> None:
    up = {"close": {"height": 5, "distance": 5}}
    keys = {"hall": {"size": {"height": 4}}, "microphones": up | {"ambient": {"height": 3}}}
    fault = only(scene_faults(scene(**keys)))
    assert "its close microphone is outside the hall" in fault.what
    far = {"support": {"perspectives": {"tree": 0}}}
    assert scene_faults(scene(**keys, sections=far)) == []


def test_podium_beyond_the_hall_is_the_one_fault() -> None:
    fault = only(scene_faults(scene(hall={"podium": 40})))
    assert fault.key == "hall.podium"
    assert "found the podium 40.00 m" in fault.what


def test_untouched_seats_need_no_place() -> None:
    nowhere = {"stem": "low.wav"}
    assert only(scene_faults(scene(seats={"a": nowhere}))).what.startswith("found no place")
    assert scene_faults(scene(seats={"a": nowhere | {"treatment": "untouched"}})) == []
    untouched = {"support": {"treatment": "untouched"}}
    assert scene_faults(scene(seats={"a": nowhere}, sections=untouched)) == []


def test_misspelt_section_is_a_fault_and_a_new_one_is_not() -> None:
    sections = {"strings": {}, "brass": {}}
    seats = {"a": SEAT | {"section": "string"}, "b": SEAT | {"section": "choir", "x": 3}}
    fault = only(scene_faults(scene(sections=sections, seats=seats)))
    assert (fault.key, fault.hint) == ("seats.a.section", "did you mean strings?")


def test_newer_format() -> None:
    fault = only(scene_faults(scene(format=9)))
    assert (fault.key, fault.hint) == ("format", "made for a newer seatwright")


def test_seating_is_checked_like_the_scene() -> None:
    seatings = {"odd one": {"a": {"x": 30}, "z": {"x": 1}}, "fine": {"a": {"x": 3}}}
    faults = scene_faults(scene(seatings=seatings))
    assert [fault.key for fault in faults] == ['seatings."odd one".z', 'seatings."odd one".a.x']
    assert faults[0].hint == "known: a"
    assert "found x = 30.00 m" in faults[1].what


def test_seating_that_leaves_half_a_place() -> None:
    seats = {"a": {"stem": "a", "treatment": "untouched"}}
    fault = only(scene_faults(scene(seats=seats, seatings={"s": {"a": {"y": 3}}})))
    assert (fault.key, fault.what) == (
        "seatings.s.a",
        "found y without x, wanted x and y, or bearing and distance",
    )


@pytest.mark.parametrize(("gap", "doubted"), [(0.0, True), (0.049, True), (0.051, False)])
def test_seats_at_one_place_are_doubted(gap: float, doubted: bool) -> None:
    doubts = scene_doubts(with_seat(x=1 + gap))
    assert [doubt.key for doubt in doubts] == ['seats."vln. 1"'] * doubted


def test_many_seats_at_one_place_give_one_doubt_each() -> None:
    found = scene(seats={f"s{number}": SEAT for number in range(50)})
    assert len(scene_doubts(found)) == 49


def test_section_without_a_seat_is_doubted() -> None:
    doubt = only(scene_doubts(scene(sections={"suport": {}})))
    assert (doubt.key, doubt.hint) == ("sections.suport", "nearest: support")


def test_nearest_lists_a_few_where_nothing_is_close() -> None:
    assert nearest("harp", ["harps", "horn"]) == "nearest: harps, horn"
    assert nearest("zzz", ["harp", "horn"]) == "known: harp, horn"
    assert nearest("zzz", []) == ""
    assert nearest("x" * 200, ["x" * 199]) == "nearest: " + "x" * 199


@pytest.mark.parametrize(
    ("tree", "key", "says"),
    [
        ({"array": "ortf", "forward": 1.0}, "forward", 'wanted it with "three" alone'),
        ({"array": "xy", "centre": -3.0}, "centre", 'found centre with the array "xy"'),
        ({"side": 2.0}, "side", 'found side with the array "three", wanted it with "mid-side"'),
        ({"array": "mid-side", "aim": 40.0}, "aim", '"ab" or "ortf"'),
        ({"array": "mid-side", "width": 0.2}, "width", 'with the array "mid-side"'),
    ],
)
def test_keys_an_array_has_nothing_for(tree: dict[str, Any], key: str, says: str) -> None:
    fault = only(scene_faults(scene(microphones={"tree": tree})))
    assert fault.key == f"microphones.tree.{key}"
    assert says in fault.what
    assert fault.hint


@pytest.mark.parametrize("array", ["ab", "ortf", "nos", "din", "xy", "blumlein", "mid-side"])
def test_pairs_as_they_start_have_neither_fault_nor_doubt(array: str) -> None:
    found = scene(microphones={"tree": {"array": array}})
    assert scene_faults(found) == []
    assert scene_doubts(found) == []


def test_main_pair_in_a_wall_is_told_of_both() -> None:
    tree = {"array": "ortf", "y": 11.95}
    faults = scene_faults(scene(microphones={"tree": tree, "outriggers": {"y": 0}}))
    assert [fault.what.partition(" stands")[0] for fault in faults] == ["tree.left", "tree.right"]


def test_aimed_omnis_are_doubted() -> None:
    microphones = {
        "tree": {"aim": 30.0},
        "outriggers": {"tilt": -10.0, "pattern": "cardioid"},
        "ambient": {"aim": 180.0, "tilt": 5.0},
    }
    doubts = scene_doubts(scene(microphones=microphones))
    wanted = ["microphones.tree.aim", "microphones.ambient.aim", "microphones.ambient.tilt"]
    assert [doubt.key for doubt in doubts] == wanted
    assert "wanted a pattern" in doubts[0].what
    tilted = {"tree": {"array": "mid-side", "pattern": "omni", "tilt": 5.0}}
    assert scene_doubts(scene(microphones=tilted)) == []


def test_close_microphone_of_an_end_of_the_width_stays_inside() -> None:
    """Nearer to the podium than the microphone is to it, the microphone stands beyond the podium:
    here in the wall behind the audience for one end of the seat."""
    hall = {"size": {"depth": 8}, "podium": 7.0}
    far = {"close": {"distance": 3, "height": 0}, "ambient": {"distance": 0.5}, "tree": {"y": 3}}
    wide = SEAT | {"x": 0, "y": 2.5, "width": 3}
    assert scene_faults(scene(hall=hall, microphones=far, seats={"a": wide})) == []
    near = SEAT | {"x": 0, "y": 1.5, "width": 3}
    fault = only(scene_faults(scene(hall=hall, microphones=far, seats={"a": near})))
    assert "its close microphone is outside the hall: found y = -1.50 m" in fault.what


@pytest.mark.parametrize(("spill", "faults"), [(None, 0), (-6.0, 1)])
def test_seats_keep_off_the_close_microphones_that_hear_them(
    spill: float | None, faults: int
) -> None:
    """0.13 m along the line towards the podium, as high as the microphone."""
    microphones = {"close": {"height": 0.0} | ({} if spill is None else {"spill": spill})}
    seats = {
        "back": SEAT | {"x": 0, "y": 7, "width": 0},
        "front": SEAT | {"x": 0, "y": 5.87, "width": 0},
    }
    found = scene_faults(scene(microphones=microphones, seats=seats))
    assert len(found) == faults
    if faults:
        assert found[0].key == "seats.front"
        assert found[0].what.startswith('found 0.13 m from the close microphone of "back"')
    apart = seats | {"front": SEAT | {"x": 0, "y": 5.69, "width": 0}}
    assert scene_faults(scene(microphones=microphones, seats=apart)) == []
