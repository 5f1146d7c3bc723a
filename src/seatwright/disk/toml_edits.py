"""Edits of a TOML text that keep every byte they do not concern: comments, order, line ends.

Only the text of a value is replaced; a new key goes behind the last of its table, in the way its
neighbours are written; a new table goes to the end.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from seatwright.disk.toml_lines import KeyPath, key_node, key_parts, value_node
from seatwright.stage.description import dotted_key
from seatwright.stage.moves import Leaf

if TYPE_CHECKING:
    from tree_sitter import Node

_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class _Pair:
    """A key with its value as it stands in the text; offsets in bytes."""

    path: KeyPath
    table: KeyPath
    node: Node
    value: Node
    inline: bool


@dataclass(frozen=True)
class _Layout:
    """Where everything stands."""

    pairs: list[_Pair]
    headers: dict[KeyPath, Node]

    def pair(self, path: KeyPath) -> _Pair | None:
        return next((pair for pair in self.pairs if pair.path == path), None)


def edited(data: bytes, changes: Mapping[KeyPath, Leaf | None]) -> bytes:
    """A TOML text with some values changed, added or taken out.

    Parameters
    ----------
    data : bytes
        Valid TOML in UTF-8, with or without a byte order mark.
    changes : mapping of tuple of str to value or None
        Whole path of each key; None takes it out.

    Returns
    -------
    bytes
        Whether it is what was wanted is for the caller to check: a table that is closed, such as
        `seats = {}` above a list, may not take a key.
    """
    mark = _MARK if data.startswith(_MARK) else b""
    text = data[len(mark) :]
    for path, value in changes.items():
        text = _without(text, path) if value is None else _with(text, path, value)
    return mark + text


def toml_value(value: Leaf) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return f"{value:.10g}"


def _with(text: bytes, path: KeyPath, value: Leaf) -> bytes:
    layout = _layout(text)
    written = toml_value(value)
    if pair := layout.pair(path):
        return _spliced(text, pair.value.start_byte, pair.value.end_byte, written)
    for length in range(len(path) - 1, 0, -1):
        done = _into(text, layout, path[:length], path[length:], written)
        if done is not None:
            return done
    head = path[: min(2, len(path) - 1)]
    return _appended(text, head, path[len(head) :], written)


def _into(
    text: bytes, layout: _Layout, prefix: KeyPath, rest: KeyPath, written: str
) -> bytes | None:
    """The text with a key in the table of this name, where there is one that takes it."""
    owner = layout.pair(prefix)
    if owner is not None and owner.value.type == "inline_table":
        return _into_inline(text, owner.value, _nested(rest, written))
    if prefix in layout.headers and len(prefix) > 1:
        return _into_table(text, layout.headers[prefix], _nested(rest, written))
    dotted = [pair for pair in layout.pairs if _dotted_through(pair, prefix)]
    if not dotted:
        return None
    last = dotted[-1]
    key = dotted_key(*prefix[len(last.table) :], *rest)
    if last.inline:
        return _spliced(text, last.value.end_byte, last.value.end_byte, f", {key} = {written}")
    return _line_after(text, last.value, f"{key} = {written}", last.node)


def _dotted_through(pair: _Pair, prefix: KeyPath) -> bool:
    """Whether a pair makes the table by dots in its own key."""
    own = len(pair.table) < len(prefix) < len(pair.path)
    return own and pair.path[: len(prefix)] == prefix


def _nested(rest: KeyPath, written: str) -> str:
    """A key with its value, tables on the way as inline ones."""
    if len(rest) == 1:
        return f"{dotted_key(rest[0])} = {written}"
    return f"{dotted_key(rest[0])} = {{ {_nested(rest[1:], written)} }}"


def _into_inline(text: bytes, table: Node, line: str) -> bytes:
    pairs = _inner(table)
    if pairs:
        end = value_node(pairs[-1]).end_byte
        return _spliced(text, end, end, f", {line}")
    return _spliced(text, table.start_byte, table.end_byte, f"{{ {line} }}")


def _into_table(text: bytes, header: Node, line: str) -> bytes:
    pairs = _inner(header)
    if pairs:
        return _line_after(text, value_node(pairs[-1]), line, pairs[-1])
    key = key_node(header)
    return _line_after(text, key if key is not None else header, line, None)


def _line_after(text: bytes, node: Node, line: str, like: Node | None) -> bytes:
    """A line behind the one on which a node ends, indented as another."""
    ends = _ends(text)
    end = text.find(b"\n", node.end_byte)
    indent = ""
    if like is not None:
        begin = text.rfind(b"\n", 0, like.start_byte) + 1
        before = text[begin : like.start_byte].decode()
        indent = before if not before.strip() else ""
    if end < 0:
        return text + (ends + indent + line).encode()
    return _spliced(text, end + 1, end + 1, indent + line + ends)


def _appended(text: bytes, head: KeyPath, rest: KeyPath, written: str) -> bytes:
    ends = _ends(text)
    gap = "" if not text or text.endswith(b"\n") else ends
    table = f"{gap}{ends}[{dotted_key(*head)}]{ends}{_nested(rest, written)}{ends}"
    return text + table.encode()


def _without(text: bytes, path: KeyPath) -> bytes:
    layout = _layout(text)
    pair = layout.pair(path)
    if pair is None:
        return text
    owner = layout.pair(path[:-1])
    if owner is not None and len(owner.path) > 2 and len(_inner(owner.value)) == 1:
        return _without(text, owner.path)  # an emptied change or balance goes as a whole
    return _out_of_inline(text, pair) if pair.inline else _out_of_line(text, pair)


def _inner(table: Node) -> list[Node]:
    """Pairs right in a table."""
    return [child for child in table.named_children if child.type == "pair"]


def _out_of_inline(text: bytes, pair: _Pair) -> bytes:
    table = pair.node.parent
    beside = _inner(table) if table is not None else []
    number = [child.start_byte for child in beside].index(pair.node.start_byte)
    if number + 1 < len(beside):
        return _spliced(text, pair.node.start_byte, beside[number + 1].start_byte, "")
    if number > 0:
        return _spliced(text, value_node(beside[number - 1]).end_byte, pair.value.end_byte, "")
    return _spliced(text, pair.node.start_byte, pair.value.end_byte, "")


def _out_of_line(text: bytes, pair: _Pair) -> bytes:
    """Take a pair out with its line; a comment behind it stays."""
    begin = text.rfind(b"\n", 0, pair.node.start_byte) + 1
    end = text.find(b"\n", pair.value.end_byte)
    end = len(text) if end < 0 else end + 1
    after = text[pair.value.end_byte : end]
    if not after.strip():
        return _spliced(text, begin, end, "")
    kept = pair.value.end_byte + len(after) - len(after.lstrip(b" \t"))
    return _spliced(text, pair.node.start_byte, kept, "")


def _spliced(text: bytes, begin: int, end: int, new: str) -> bytes:
    return text[:begin] + new.encode() + text[end:]


def _ends(text: bytes) -> str:
    return "\r\n" if b"\r\n" in text else "\n"


def _layout(text: bytes) -> _Layout:
    import tree_sitter_toml
    from tree_sitter import Language, Parser

    root = Parser(Language(tree_sitter_toml.language())).parse(text).root_node
    pairs: list[_Pair] = []
    headers: dict[KeyPath, Node] = {}
    for node in root.named_children:
        if node.type == "pair":
            pairs += _pairs(node, (), False)
        elif node.type == "table" and (key := key_node(node)) is not None:
            path = key_parts(key)
            headers[path] = node
            for child in _inner(node):
                pairs += _pairs(child, path, False)
    return _Layout(pairs, headers)


def _pairs(node: Node, table: KeyPath, inline: bool) -> Iterator[_Pair]:
    key = key_node(node)
    if key is None:
        return
    path = (*table, *key_parts(key))
    value = value_node(node)
    yield _Pair(path, table, node, value, inline)
    if value.type == "inline_table":
        for child in _inner(value):
            yield from _pairs(child, path, True)
