"""Text of a TOML file: limits that hold before anything is parsed, and faults of its syntax.

A text within the limits is parsed quickly and without deep recursion, whatever it holds.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from seatwright.disk.toml_lines import KeyPath, Place, key_places
from seatwright.errors import Fault
from seatwright.stage.description import dotted_key

MOST_BYTES = 2**20
LONGEST_LINE_BYTES = 4096
DEEPEST_NESTING = 16
MOST_DIGITS = 30
_TOO_DEEP = f"found tables or lists nested deeper than {DEEPEST_NESTING}, wanted fewer"
_SHOWN_FAULTS = 20

_KEY_PART = r"""(?:[A-Za-z0-9_+\-:]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')"""
_PART = re.compile(_KEY_PART)
_TOKEN = re.compile(
    rf'''
    \#[^\n]*+                                            # comment
    |"""(?:[^"\\]|\\.|"(?!""))*+(?:"{{3,5}}+|\Z)         # text over several lines
    |\'\'\'(?:[^']|'(?!''))*+(?:'{{3,5}}+|\Z)
    |(?P<run>{_KEY_PART}(?:[ \t]*+\.[ \t]*+{_KEY_PART})*+)  # key, number, text, date
    |(?P<open>[\[{{])
    |(?P<close>[\]}}])
    |"[^\n]*+|'[^\n]*+                                   # text that is not closed
    ''',
    re.VERBOSE | re.DOTALL,
)
_PLACE_OF_ERROR = re.compile(
    r"(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)\Z", re.DOTALL
)
_WANTED = {
    "Expected '=' after a key": "a key, an equals sign and a value: key = value",
    "Expected newline": "the end of the line after a value",
    "Invalid statement": "a [table] or a key = value",
    "Invalid initial character": "a key of letters, digits, - and _, or one in quotes",
    "Expected ']": "a closing ] at the end of the table's name",
    "Unclosed array": "a comma between items and ] at the end of the list",
    "Unclosed inline table": "a comma between keys and } at the end of the table, on one line",
    "Unescaped": "\\\\ for a backslash in text, or '...' around the text",
    "Unterminated string": "a closing quote",
    'Expected "': "a closing quote",
    "Illegal character": "no control characters and quotes closed on the same line",
    "Found invalid character": "no control characters",
    "Invalid date": "a date that exists",
    "Cannot": "each key and table once",
    "Invalid value": 'a number, text in "quotes", true or false, a [list] or a { table }',
}
_PLAIN_KEY = re.compile(r"[ \t]*([\w-]+(?:\.[\w-]+)*)[ \t]*=")
_REPEATED = ("Cannot", "Duplicate")


def decoded(data: bytes) -> tuple[str, list[Fault]]:
    """Turn the bytes of a file into text, and name what keeps it from being parsed.

    Parameters
    ----------
    data : bytes
        UTF-8, with or without a byte order mark; lines end in LF or CRLF.

    Returns
    -------
    text : str
        With LF line ends; "" where there are faults of the encoding or the size.
    faults : list of Fault
        With their lines; empty when the text can be parsed safely.
    """
    if len(data) > MOST_BYTES:
        return "", [Fault(f"found more than {MOST_BYTES} bytes, wanted a scene of at most 1 MiB")]
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        return "", [_encoding_fault(data, error)]
    faults = [*_long_lines(text), *_token_faults(text)]
    if len(faults) > _SHOWN_FAULTS:
        more = len(faults) - _SHOWN_FAULTS
        faults = [*faults[:_SHOWN_FAULTS], Fault(f"and {more} more faults of these kinds")]
    return text, faults


def parsed(text: str) -> tuple[dict[str, Any], list[Fault]]:
    """Parse a text that `decoded` found no fault with.

    Parameters
    ----------
    text : str
        TOML.

    Returns
    -------
    table : dict
        Empty where there are faults.
    faults : list of Fault
        The first fault of the syntax, with line and key, or every number and nesting out
        of bounds, with keys.
    """
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        return {}, [_syntax_fault(text, str(error))]
    faults = list(_value_faults(table))
    return ({} if faults else table), faults


def _encoding_fault(data: bytes, error: UnicodeDecodeError) -> Fault:
    skipped = 3 if data.startswith(b"\xef\xbb\xbf") else 0
    offset = error.start + (skipped if error.object != data else 0)
    utf_16 = data[:2] in (b"\xff\xfe", b"\xfe\xff") or data[:200].count(0) > 20
    return Fault(
        f"found byte 0x{data[offset]:02x} at offset {offset} that is not UTF-8, "
        "wanted text in UTF-8",
        line=data.count(b"\n", 0, offset) + 1,
        hint="looks like UTF-16: save it as UTF-8" if utf_16 else "save the file as UTF-8",
    )


def _long_lines(text: str) -> Iterator[Fault]:
    for number, line in enumerate(text.split("\n"), start=1):
        length = len(line) if line.isascii() else len(line.encode("utf-8"))
        if length > LONGEST_LINE_BYTES:
            yield Fault(
                f"found a line of {length} bytes, wanted at most {LONGEST_LINE_BYTES}", line=number
            )


def _token_faults(text: str) -> Iterator[Fault]:
    """Nesting and numbers out of bounds, told from the tokens alone."""
    depth, line, counted = 0, 1, 0
    for token in _TOKEN.finditer(text):
        what = ""
        if token["open"]:
            depth += 1
            what = _TOO_DEEP if depth == DEEPEST_NESTING + 1 else ""
        elif token["close"]:
            depth = max(0, depth - 1)
        elif run := token["run"]:
            what = _run_fault(text, token, run)
        if what:
            line += text.count("\n", counted, token.start())
            counted = token.start()
            yield Fault(what, line=line)


def _run_fault(text: str, token: re.Match[str], run: str) -> str:
    """What is wrong with a key or a value; "" where nothing is."""
    if run.count(".") >= DEEPEST_NESTING and len(_PART.findall(run)) > DEEPEST_NESTING:
        return _TOO_DEEP
    if len(run) > MOST_DIGITS and _too_many_digits(text, token):
        return f"found a number of {_digits(run)} digits, wanted at most {MOST_DIGITS}"
    return ""


def _digits(run: str) -> int:
    return sum(letter.isalnum() for letter in run)


def _too_many_digits(text: str, token: re.Match[str]) -> bool:
    """Whether a run is a number, so no text and no key, and longer than any that is meant."""
    run = token[0]
    is_key = re.compile(r"[ \t]*[=.]").match(text, token.end()) is not None
    return run.lstrip("+-")[:1].isdigit() and not is_key and _digits(run) > MOST_DIGITS


def _value_faults(table: dict[str, Any]) -> Iterator[Fault]:
    """Nesting counted over headers, dots and brackets together; integers beyond 64 bits."""
    waiting: list[tuple[KeyPath, Any]] = [((), table)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, int) and not -(2**63) <= value < 2**63:
            yield Fault(f"found {value}, wanted a number within 64 bits", key=dotted_key(*path))
        if not isinstance(value, dict | list):
            continue
        if len(path) > DEEPEST_NESTING:
            yield Fault(_TOO_DEEP, key=dotted_key(*path))
            continue
        items = value.items() if isinstance(value, dict) else enumerate(value)
        waiting += [((*path, str(key)), item) for key, item in items]


def _syntax_fault(text: str, message: str) -> Fault:
    match = _PLACE_OF_ERROR.match(message)
    problem = match[1] if match else message
    at_end = match is None or match[2] is None
    line = len(text.rstrip("\n").split("\n")) if match is None or at_end else int(match[2])
    places = key_places("\n".join(text.split("\n")[:line]) + "\n")
    if problem.startswith(_REPEATED) and (fault := _repeat_fault(places)):
        return fault
    wanted = next(
        (wanted for start, wanted in _WANTED.items() if problem.startswith(start)),
        "valid TOML: " + problem[:1].lower() + problem[1:],
    )
    found = "the end of the file" if at_end else _excerpt(text, line)
    return Fault(f"found {found}, wanted {wanted}", line=line, key=_key_at(places, text, line))


def _excerpt(text: str, line: int) -> str:
    words = text.split("\n")[line - 1].strip()
    if not words:
        return "the end of the line"
    return f"`{words[:60]}…`" if len(words) > 60 else f"`{words}`"


def _repeat_fault(places: list[Place]) -> Fault | None:
    """The first key written twice, or used both as a value and as a table."""
    first: dict[KeyPath, Place] = {}
    for place in places:
        if place.kind == "list":
            first.setdefault(place.path, place)
            continue
        earlier = first.setdefault(place.path, place)
        key = dotted_key(*place.path)
        if earlier is not place:
            return Fault(
                f"found a second time (first on line {earlier.line}), wanted each key once",
                line=place.line,
                key=key,
            )
        if place.kind != "inside" and (owner := _value_above(first, place.path)):
            return Fault(
                f"found more keys for {dotted_key(*owner.path)}, which line {owner.line} "
                "already gives its value, wanted each key once",
                line=place.line,
                key=key,
            )
    return None


def _value_above(first: dict[KeyPath, Place], path: KeyPath) -> Place | None:
    for length in range(1, len(path)):
        place = first.get(path[:length])
        if place is not None and place.kind in ("value", "inside"):
            return place
    return None


def _key_at(places: list[Place], text: str, line: int) -> str:
    """The key written on a line, or the table the line stands in."""
    table: KeyPath = ()
    for place in places:
        if place.line == line:
            return dotted_key(*place.path)
        if place.kind == "table":
            table = place.path
    plain = _PLAIN_KEY.match(text.split("\n")[line - 1])
    return dotted_key(*table, *(plain[1].split(".") if plain else ()))
