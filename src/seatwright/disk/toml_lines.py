"""Lines of keys: where in a TOML text each key is written.

Conventions: lines count from 1; an item of a list is named by its index as text.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from seatwright.stage.description import dotted_key

if TYPE_CHECKING:
    from tree_sitter import Node

KeyPath = tuple[str, ...]

_KEYS = ("bare_key", "quoted_key", "dotted_key")


@dataclass(frozen=True)
class Place:
    """Where a key is written.

    Parameters
    ----------
    path : tuple of str
        The whole key from the root of the file.
    line : int
        1-based.
    kind : str
        "table" for a header, "value" for a key with its value, "inside" for what stands in
        an inline table or list.
    """

    path: KeyPath
    line: int
    kind: str


def key_places(text: str) -> list[Place]:
    """Every key in the order it is written, repeated ones too.

    Parameters
    ----------
    text : str
        TOML; text that is not valid gives the places that can still be told.

    Returns
    -------
    list of Place
    """
    import tree_sitter_toml
    from tree_sitter import Language, Parser

    parser = Parser(Language(tree_sitter_toml.language()))
    root = parser.parse(text.encode("utf-8")).root_node
    return list(_Walk().document(root))


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line each key is first written on.

    Parameters
    ----------
    text : str
        TOML.

    Returns
    -------
    dict of tuple of str to int
        Tables that have no header of their own stand at the first key that names them.
    """
    written: dict[KeyPath, int] = {}
    implied: dict[KeyPath, int] = {}
    for place in key_places(text):
        written.setdefault(place.path, place.line)
        for length in range(len(place.path) - 1, 0, -1):
            if place.path[:length] in implied:
                break
            implied[place.path[:length]] = place.line
    return implied | written


def line_of(key: str, lines: Mapping[str, int]) -> int:
    """The line of a dotted key, or of its nearest ancestor that is written.

    Parameters
    ----------
    key : str
        As in a fault, for example "seats.oboe.bearing".
    lines : mapping of str to int
        From `dotted_lines`.

    Returns
    -------
    int
        0 where not even an ancestor is written.
    """
    if key in lines:
        return lines[key]
    end = key.rfind(".")
    while end > 0:
        if key[:end] in lines:
            return lines[key[:end]]
        end = key.rfind(".", 0, end)
    return 0


def dotted_lines(text: str) -> dict[str, int]:
    """`key_lines` by dotted key, quoted where TOML needs it."""
    return {dotted_key(*path): line for path, line in key_lines(text).items()}


@dataclass
class _Walk:
    """Goes through a parsed document and remembers how many times each list of tables grew."""

    grown: dict[KeyPath, int] = field(default_factory=dict)

    def document(self, root: Node) -> Iterator[Place]:
        for node in root.named_children:
            if node.type == "pair":
                yield from self.pair(node, (), "value")
            elif node.type in ("table", "table_array_element"):
                yield from self.table(node)

    def table(self, node: Node) -> Iterator[Place]:
        header = key_node(node)
        if header is None:
            return
        line = header.start_point[0] + 1
        path = self.indexed(key_parts(header), node.type == "table_array_element")
        if path[-1].isdigit() and node.type == "table_array_element":
            yield Place(path[:-1], line, "list")
        yield Place(path, line, "table")
        for child in node.named_children:
            if child.type == "pair":
                yield from self.pair(child, path, "value")

    def indexed(self, parts: KeyPath, grows: bool) -> KeyPath:
        """Put in the index of the last table of every list of tables on the way."""
        path: KeyPath = ()
        for part in parts[:-1]:
            path = (*path, part)
            if path in self.grown:
                path = (*path, str(self.grown[path]))
        path = (*path, parts[-1])
        if grows:
            self.grown[path] = self.grown.get(path, -1) + 1
            path = (*path, str(self.grown[path]))
        return path

    def pair(self, node: Node, table: KeyPath, kind: str) -> Iterator[Place]:
        key = key_node(node)
        if key is None:
            return
        path = (*table, *key_parts(key))
        yield Place(path, key.start_point[0] + 1, kind)
        yield from self.value(value_node(node), path)

    def value(self, node: Node, path: KeyPath) -> Iterator[Place]:
        if node.type == "inline_table":
            for child in node.named_children:
                if child.type == "pair":
                    yield from self.pair(child, path, "inside")
        elif node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, child in enumerate(items):
                item = (*path, str(index))
                yield Place(item, child.start_point[0] + 1, "inside")
                yield from self.value(child, item)


def key_node(node: Node) -> Node | None:
    """The key of a pair or of a table's header."""
    return next((child for child in node.named_children if child.type in _KEYS), None)


def value_node(pair: Node) -> Node:
    """The value of a pair; a comment behind it belongs to the parser's pair as well."""
    return [child for child in pair.named_children if child.type != "comment"][-1]


def key_parts(node: Node) -> KeyPath:
    """The parts of a key, however deep the parser nests the dots."""
    if node.type == "dotted_key":
        return tuple(
            part for child in node.named_children if child.type in _KEYS
            for part in key_parts(child)
        )  # fmt: skip
    text = (node.text or b"").decode("utf-8", "replace")
    return (_unquoted(text) if node.type == "quoted_key" else text,)


def _unquoted(text: str) -> str:
    if "\\" in text and text.startswith('"'):
        try:
            return str(tomllib.loads(f"key = {text}")["key"])
        except tomllib.TOMLDecodeError:
            pass
    return text[1:-1]
