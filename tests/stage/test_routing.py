"""Which seats sound, which outputs there are, and who feeds which."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.errors import SceneError
from seatwright.stage.routing import (
    Bus,
    buses_of,
    heard_seats,
    only_doubts,
    routes_of,
    seat_perspectives,
)
from seatwright.stage.scene import Scene


def seat(section: str, **more: Any) -> dict[str, Any]:
    return {"stem": "a.wav", "section": section, "x": 1.0, "y": 2.0, **more}


def scene(seats: dict[str, Any], sections: dict[str, Any] | None = None) -> Scene:
    return Scene(seats=seats, sections=sections or {})  # type: ignore[arg-type]


FOUR = {
    "flute": seat("winds"),
    "violas": seat("strings", perspectives={"tree": 0.0, "head": -3.0}),
    "oboe": seat("winds", treatment="blended"),
    "organ": {"stem": "a.wav", "section": "keys", "treatment": "untouched"},
}


@pytest.mark.parametrize(
    ("only", "heard"),
    [
        ((), ("flute", "violas", "oboe", "organ")),
        (("winds",), ("flute", "oboe")),
        (("organ", "flute"), ("flute", "organ")),
        (("winds", "flute"), ("flute", "oboe")),
    ],
)
def test_only_takes_sections_and_seats_in_the_scenes_order(
    only: tuple[str, ...], heard: tuple[str, ...]
) -> None:
    assert heard_seats(scene(FOUR), only) == heard


def test_unknown_names_are_all_refused_with_the_nearest() -> None:
    with pytest.raises(SceneError) as caught:
        heard_seats(scene(FOUR), ("flutes", "flute", "string"))
    first, second = caught.value.faults
    assert 'found "flutes" after --only' in first.what
    assert "flute" in first.hint
    assert "strings" in second.hint


def test_mute_and_solo_of_seats_and_sections() -> None:
    muted = {**FOUR, "flute": seat("winds", mute=True)}
    assert heard_seats(scene(muted)) == ("violas", "oboe", "organ")
    assert heard_seats(scene(muted, {"strings": {"mute": True}})) == ("oboe", "organ")
    assert heard_seats(scene(muted, {"winds": {"solo": True}})) == ("oboe",)
    soloed = {**FOUR, "violas": seat("strings", solo=True)}
    assert heard_seats(scene(soloed)) == ("violas",)
    both = {**FOUR, "violas": seat("strings", solo=True, mute=True)}
    with pytest.raises(SceneError, match="nothing to render"):
        heard_seats(scene(both))
    with pytest.raises(SceneError, match="muted or not soloed"):
        heard_seats(scene(soloed), ("flute",))


def test_a_name_that_means_a_section_and_a_seat_is_doubted() -> None:
    made = scene({"brass": seat("brass"), "horns": seat("brass"), "harp": seat("harp")})
    (doubt,) = only_doubts(made, ("brass", "harp", "brass"))
    assert doubt.key == "seats.brass"
    assert doubt.what.endswith('"brass" after --only, both are taken: brass, horns')
    assert heard_seats(made, ("brass",)) == ("brass", "horns")
    assert only_doubts(made, ("horns", "harp")) == []
    crossed = scene({"brass": seat("winds"), "horns": seat("brass")})
    assert only_doubts(crossed, ("brass",))[0].what.endswith("both are taken: brass, horns")


def test_sections_come_first_in_the_order_of_their_first_seat() -> None:
    made = scene(FOUR)
    assert buses_of(made, ("flute", "violas", "oboe", "organ")) == (
        Bus("sections", "winds"),
        Bus("sections", "strings"),
        Bus("sections", "keys"),
    )
    assert buses_of(made, ("violas",)) == (Bus("sections", "strings"),)


def test_stems_and_perspectives_on_request() -> None:
    made = scene(FOUR)
    buses = buses_of(made, heard_seats(made), stems=True, perspectives=True)
    assert [bus.name for bus in buses if bus.kind == "stems"] == list(FOUR)
    assert [bus.name for bus in buses if bus.kind == "perspectives"] == [
        "tree",
        "outriggers",
        "ambient",
        "close",
        "head",
        "blended",
        "untouched",
    ]


def test_perspectives_of_a_seat() -> None:
    made = scene(FOUR, {"winds": {"perspectives": {"close": 0.0}}})
    assert seat_perspectives(made, "flute") == ("close",)
    assert seat_perspectives(made, "violas") == ("tree", "head")
    assert seat_perspectives(made, "oboe") == ("blended",)
    assert seat_perspectives(made, "organ") == ("untouched",)


def test_with_spill_a_seat_is_heard_through_the_others_close_microphones() -> None:
    made = scene(FOUR, {"winds": {"perspectives": {"close": 0.0}}})
    keys = made.model_dump(exclude_none=True) | {"microphones": {"close": {"spill": -6.0}}}
    spilling = Scene.model_validate(keys)
    assert seat_perspectives(spilling, "violas") == ("tree", "head", "close")
    assert seat_perspectives(spilling, "flute") == ("close",)
    assert seat_perspectives(spilling, "oboe") == ("blended",)
    far = Scene.model_validate(keys | {"seats": {"violas": keys["seats"]["violas"]}})
    assert seat_perspectives(far, "violas") == ("tree", "head")


def test_a_section_and_a_seat_of_one_name_are_kept_apart() -> None:
    made = scene({"harp": seat("harp"), "bells": seat("harp")})
    buses = buses_of(made, ("harp", "bells"), stems=True)
    assert routes_of(made, "harp", buses) == {0: "mix", 1: "mix"}
    assert routes_of(made, "bells", buses) == {0: "mix", 2: "mix"}


TREATMENTS = st.sampled_from(["placed", "blended", "untouched"])
PERSPECTIVES = st.dictionaries(
    st.sampled_from(["tree", "outriggers", "ambient", "close", "head"]),
    st.floats(-20.0, 6.0),
    min_size=1,
)


@st.composite
def scenes(draw: st.DrawFn) -> Scene:
    seats = {
        f"seat {number}": seat(
            draw(st.sampled_from("abc")),
            treatment=draw(TREATMENTS),
            mute=draw(st.booleans()),
            perspectives=draw(PERSPECTIVES),
        )
        for number in range(draw(st.integers(1, 6)))
    }
    return scene(seats)


@given(made=scenes(), flags=st.sampled_from(list(product([False, True], repeat=2))))
def test_every_seat_reaches_each_kind_of_output_exactly_once(
    made: Scene, flags: tuple[bool, bool]
) -> None:
    """So that sections, stems and perspectives each add up to the mix."""
    try:
        heard = heard_seats(made)
    except SceneError:
        assert all(one.mute for one in made.seats.values())
        return
    buses = buses_of(made, heard, *flags)
    assert len(set(buses)) == len(buses)
    fed: set[int] = set()
    for name in heard:
        routes = routes_of(made, name, buses)
        fed |= routes.keys()
        kinds = [buses[index].kind for index in routes]
        assert kinds.count("sections") == 1
        assert kinds.count("stems") == flags[0]
        parts = [part for index, part in routes.items() if buses[index].kind == "perspectives"]
        assert parts == (sorted(parts, key=_rank) if flags[1] else [])
        assert set(parts) == (set(seat_perspectives(made, name)) if flags[1] else set())
    assert fed == set(range(len(buses)))


def _rank(part: str) -> int:
    order = ("tree", "outriggers", "ambient", "close", "head", "blended", "untouched")
    return order.index(part)
