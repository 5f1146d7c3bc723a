"""Edits of TOML: the value is there, and every other byte is where it was."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.disk.toml_edits import edited, toml_value

SCENES = Path(__file__).parents[2] / "scenes"

WAYS = {
    "tables": "# a\n[seats.oboe]\nbearing = 3 # b\n\n  # c\n[seats.horn]\nbearing=1\n",
    "inline": "seats = { oboe = { bearing = 3 }, horn = { bearing = 1 } } # all\n",
    "inline in a table": "[seats]\noboe = { bearing = 3 } # x\nhorn = {bearing=1}\n",
    "dotted": "seats.oboe.bearing = 3 # b\nseats.horn.bearing = 1\n[hall]\nx = 1\n",
    "dotted in a table": "[seats] # s\noboe.bearing = 3\n  horn.bearing = 1 # h\n[hall]\nx = 1\n",
    "no end": "[seats.horn]\nbearing = 1\n[seats.oboe]\nbearing = 3",
    "quoted": "['seats'.\"oboe\"]\n\"bearing\" = 3\n[seats.'horn']\n'bearing' = 1\n",
    "long": '[seats.horn]\nbearing = 1\nstem = [\n "a", # one\n "b",\n]\n\n'
    "[seats.oboe]\nbearing = 3\n",
    "empty": "[seats.horn]\nbearing = 1\n[seats.oboe] # nothing\n\n# end",
}


def put(table: dict[str, Any], path: tuple[str, ...], value: Any) -> dict[str, Any]:
    for key in path[:-1]:
        table = table.setdefault(key, {})
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = value
    return table


def pruned(value: Any) -> Any:
    """Without tables that hold nothing."""
    if not isinstance(value, dict):
        return value
    kept = {key: pruned(inner) for key, inner in value.items()}
    return {key: inner for key, inner in kept.items() if inner != {}}


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(
    "changes",
    [
        {("seats", "oboe", "bearing"): -4.5},
        {("seats", "oboe", "facing"): 90},
        {("seats", "oboe", "perspectives", "tree"): 0.0, ("seats", "oboe", "distance"): 2},
        {("seats", "new one", "bearing"): 2, ("seats", "new one", "distance"): 3.25},
        {("seatings", "a.b", "oboe", "x"): 1, ("seatings", "a.b", "horn", "x"): 2},
        {("sections", "winds", "perspectives", "tree"): -3},
        {("seats", "horn", "bearing"): None, ("seats", "oboe", "facing"): 1},
    ],
)
def test_every_way_of_writing_takes_every_change(
    way: str, changes: dict[tuple[str, ...], Any], mark: bytes, ends: str
) -> None:
    text = WAYS[way].replace("\n", ends)
    after = edited(mark + text.encode(), changes)
    assert after.startswith(mark)
    content = after[len(mark) :].decode()
    assert content.count("\n") == content.count(ends)
    wanted = tomllib.loads(WAYS[way])
    for path, value in changes.items():
        put(wanted, path, value)
    assert pruned(tomllib.loads(content.replace("\r\n", "\n"))) == pruned(wanted)
    assert comments(content) == comments(text)


def comments(text: str) -> list[str]:
    return [line.partition("#")[2].strip() for line in text.splitlines() if "#" in line]


def test_only_the_value_changes() -> None:
    text = b"[seats.oboe]\nbearing   =\t3   # b\n"
    after = edited(text, {("seats", "oboe", "bearing"): 2.5})
    assert after == b"[seats.oboe]\nbearing   =\t2.5   # b\n"


def test_a_new_key_goes_behind_the_last_of_its_table() -> None:
    text = b"[seats.oboe]\n  bearing = 3 # b\n\n# of the horn\n[seats.horn]\n"
    after = edited(text, {("seats", "oboe", "facing"): 10})
    expected = b"[seats.oboe]\n  bearing = 3 # b\n  facing = 10\n\n# of the horn\n[seats.horn]\n"
    assert after == expected


def test_a_change_that_is_taken_back_goes_as_a_whole() -> None:
    text = b"[seatings.a]\noboe = { facing = 10 } # why\nhorn = { x = 1, y = 2 }\n"
    gone = edited(text, {("seatings", "a", "oboe", "facing"): None})
    assert gone == b"[seatings.a]\n# why\nhorn = { x = 1, y = 2 }\n"
    half = edited(text, {("seatings", "a", "horn", "x"): None})
    assert half == b"[seatings.a]\noboe = { facing = 10 } # why\nhorn = { y = 2 }\n"


def test_values_are_written_short_and_read_back() -> None:
    assert [toml_value(v) for v in (5.0, -0.1, 12, True, 'a"b', 5.07)] == [
        *["5", "-0.1", "12", "true", '"a\\"b"', "5.07"]
    ]


NUMBERS = st.floats(-360, 360).map(lambda value: round(value, 2) + 0.0)


@settings(deadline=None)
@given(
    st.sampled_from(["ferry", "every_key", "smallest"]),
    st.lists(st.tuples(st.integers(0, 10_000), NUMBERS), min_size=1, max_size=6),
    st.sampled_from(["\n", "\r\n"]),
)
def test_numbers_of_whole_scenes_change_and_nothing_else(
    name: str, chosen: list[tuple[int, float]], ends: str
) -> None:
    """Against the text cut at the places of the values, which are found by another parser."""
    text = (SCENES / f"{name}.toml").read_text(encoding="utf-8")
    document = tomlkit.parse(text)
    paths = list(numbers(document.unwrap()))
    changes = {paths[number % len(paths)]: value for number, value in chosen}
    data = text.replace("\n", ends).encode()
    after = edited(data, changes)
    wanted = tomllib.loads(text)
    for path, value in changes.items():
        put(wanted, path, value)
    assert tomllib.loads(after.decode().replace("\r\n", "\n")) == wanted
    old, new = data.decode().split(ends), after.decode().split(ends)
    assert len(old) == len(new)
    differ = [(a, b) for a, b in zip(old, new, strict=True) if a != b]
    assert len(differ) <= len(changes)
    for before, now in differ:
        assert words(before) == words(now)


def words(line: str) -> str:
    """A line without its numbers, but with every space and comment."""
    value, hash_sign, comment = line.partition("#")
    return "".join(c for c in value if not (c.isdigit() or c in "+-.e")) + hash_sign + comment


def numbers(table: Any, path: tuple[str, ...] = ()) -> Any:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from numbers(value, (*path, key))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield (*path, key)


@settings(deadline=None)
@given(
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=20),
    NUMBERS,
)
def test_any_name_can_be_written(name: str, value: float) -> None:
    text = (SCENES / "smallest.toml").read_bytes()
    path = ("seatings", name, name, "bearing")
    after = edited(text, {path: value, (*path[:3], "distance"): 3})
    assert after.startswith(text)
    assert tomllib.loads(after.decode())["seatings"] == {
        name: {name: {"bearing": value, "distance": 3}}
    }
