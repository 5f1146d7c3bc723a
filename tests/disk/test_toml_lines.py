"""Lines of keys: every way TOML can write a key is found where it stands."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from seatwright.disk.toml_lines import dotted_lines, key_lines, line_of
from seatwright.stage.description import dotted_key

TEXT = '''title = "Tide" # line 1
hall.size.width = 20
"a b"."c.d".'e"f' = 1
notes = """
[seats.ghost]
bearing = 3
"""
[seats.oboe.perspectives]
tree = 0

[seats.oboe]
stem = [
  "oboe.L.wav",
  # between
  "oboe.R.wav",
]
[seats."vln. 1"]
bearing = 2
place = { x = 1, y.z = [1, { deep = 2 }] }
[[takes]]
name = "one"
[[takes]]
name = "two"
[takes.mix]
gain = 3
["fl\\u00f6te"]
x = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 1),
        (("hall",), 2),
        (("hall", "size"), 2),
        (("hall", "size", "width"), 2),
        (("a b", "c.d", 'e"f'), 3),
        (("notes",), 4),
        (("seats",), 8),
        (("seats", "oboe", "perspectives", "tree"), 9),
        (("seats", "oboe"), 11),
        (("seats", "oboe", "stem"), 12),
        (("seats", "oboe", "stem", "0"), 13),
        (("seats", "oboe", "stem", "1"), 15),
        (("seats", "vln. 1"), 17),
        (("seats", "vln. 1", "place", "x"), 19),
        (("seats", "vln. 1", "place", "y", "z", "1", "deep"), 19),
        (("takes",), 20),
        (("takes", "0", "name"), 21),
        (("takes", "1"), 22),
        (("takes", "1", "name"), 23),
        (("takes", "1", "mix", "gain"), 25),
        (("flöte", "x"), 27),
    ],
)
def test_key_stands_on_its_line(path: tuple[str, ...], line: int) -> None:
    assert key_lines(TEXT)[path] == line


def paths_of(value: Any, path: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    items: Any = ()
    if isinstance(value, dict):
        items = value.items()
    elif isinstance(value, list):
        items = enumerate(value)
    found = {path} if path else set()
    for key, inner in items:
        found |= paths_of(inner, (*path, str(key)))
    return found


def test_keys_are_those_the_parser_sees() -> None:
    assert set(key_lines(TEXT)) == paths_of(tomllib.loads(TEXT))


def test_text_inside_quotes_is_no_key() -> None:
    assert ("seats", "ghost") not in key_lines(TEXT)


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("seats.oboe.stem.1", 15),
        ("seats.oboe.distance", 11),
        ('seats."vln. 1".gain', 17),
        ("seats.harp.stem", 8),
        ("microphones.tree", 0),
        ("", 0),
    ],
)
def test_missing_key_gets_the_line_of_the_nearest_key_above(key: str, line: int) -> None:
    assert line_of(key, dotted_lines(TEXT)) == line


def test_dotted_key_reads_back_as_the_same_parts() -> None:
    parts = ("seats", "vln. 1", 'the "first"', "a\\b", "é", "-_9", "")
    value: Any = tomllib.loads(f"{dotted_key(*parts)} = 7")
    for part in parts:
        value = value[part]
    assert value == 7


def test_broken_text_still_gives_the_keys_before_the_break() -> None:
    assert key_lines('a = 1\n[seats.oboe]\nstem = "x"\n)(&\n')[("seats", "oboe", "stem")] == 3
