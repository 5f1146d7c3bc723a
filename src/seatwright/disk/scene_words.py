"""Mistakes of a scene in words: what was found at which key, what was wanted, which name is near.

What was wanted is read from the JSON Schema of the scene, so that words and checks cannot part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import lru_cache
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from seatwright.disk.toml_lines import KeyPath
from seatwright.errors import Fault
from seatwright.stage.description import dotted_key
from seatwright.stage.rules import nearest
from seatwright.stage.scene import home_of, scene_schema
from seatwright.stage.surfaces import SURFACE_NAMES

_HINTED_FAULTS = 100
_SHOWN_LETTERS = 60

_UNITS = {
    "degrees": ("bearing", "facing", "turned", "aim", "tilt"),
    "metres": (
        "x", "y", "distance", "riser", "height", "width", "depth", "forward", "podium",
    ),
    "dB": ("gain", "tail", "centre", "side", "spill"),
    "seconds": ("reverberation", "mixing_time"),
    "degrees Celsius": ("temperature",),
    "percent": ("humidity",),
    "Hz": ("rate",),
}  # fmt: skip
_UNIT_OF = {key: unit for unit, keys in _UNITS.items() for key in keys}

_SURFACE = "the name of a surface in quotes or a table such as { absorption = 0.1 }"
_WANTED_AT = {
    "stem": "a file name in quotes or a list of them",
    "absorption": "a number above 0 and below 1, or a list of them",
    "scattering": "a number from 0 to 1, or a list of them",
    **dict.fromkeys(SURFACE_NAMES, _SURFACE),
}
_TOO_MUCH = {"string_too_long", "string_too_short", "too_long", "too_short"}


@dataclass(frozen=True)
class Refusal:
    """A fault of a scene together with the key it stands at.

    Parameters
    ----------
    path : tuple of str
        The whole key in parts; for a missing key, where it is wanted.
    kind : str
        The kind of mistake as pydantic names it.
    fault : Fault
        In words, with its dotted key.
    """

    path: KeyPath
    kind: str
    fault: Fault


@dataclass(frozen=True)
class _Spot:
    """Where in the parsed file an error stands; `branches` are the alternatives tried there."""

    path: KeyPath
    value: Any
    branches: tuple[tuple[KeyPath, str, Any], ...]


def refusals(
    error: ValidationError, table: Mapping[str, Any], most: int | None = None
) -> list[Refusal]:
    """Translate everything pydantic refused, one fault for each mistake.

    Parameters
    ----------
    error : ValidationError
        From validating `table` as a scene.
    table : mapping
        The parsed scene file.
    most : int, optional
        Only so many, the first.

    Returns
    -------
    list of Refusal
        Where a key may hold one kind of value or another, only the faults of the kind that
        was written; one fault if it is neither.
    """
    kept: list[tuple[_Spot, ErrorDetails]] = []
    neither: dict[KeyPath, Any] = {}
    for details in error.errors(include_url=False)[:most]:
        spot = _spot(details["loc"], table)
        unfit = [(path, value) for path, tag, value in spot.branches if not _fits(tag, value)]
        if unfit:
            neither.setdefault(*unfit[0])
        else:
            kept.append((spot, details))
    explained = {spot.path[:length] for spot, _ in kept for length in range(len(spot.path) + 1)}
    found = [
        _refusal(spot, details, number < _HINTED_FAULTS)
        for number, (spot, details) in enumerate(kept)
    ]
    found += [
        _wrong_value(path, value, "alternatives")
        for path, value in neither.items()
        if path not in explained
    ]
    return found


def _spot(loc: Iterable[int | str], table: Mapping[str, Any]) -> _Spot:
    """Follow an error's location, setting apart the parts that name an alternative's type."""
    path: KeyPath = ()
    value: Any = table
    branches = []
    for part in loc:
        if isinstance(part, int) or (isinstance(value, dict) and part in value):
            path, value = (*path, str(part)), value[part]
        elif _is_tag(part):
            branches.append((path, part, value))
        elif part != "[key]":
            path, value = (*path, str(part)), None
    return _Spot(path, value, tuple(branches))


def _is_tag(part: str) -> bool:
    return part == "SurfaceTable" or part.startswith(("list[", "constrained-"))


def _fits(tag: str, value: Any) -> bool:
    """Whether a value is of the type that an alternative is for."""
    if tag.startswith("list["):
        return isinstance(value, list)
    if tag == "SurfaceTable":
        return isinstance(value, dict)
    if tag == "constrained-str":
        return isinstance(value, str)
    return isinstance(value, int | float) and not isinstance(value, bool)


def _refusal(spot: _Spot, details: ErrorDetails, hinted: bool) -> Refusal:
    kind = details["type"]
    if kind == "missing":
        return _missing(spot.path)
    if kind == "extra_forbidden":
        return _unknown_key(spot.path, hinted)
    if kind == "value_error":
        message = str(details.get("ctx", {}).get("error", details["msg"]))
        what, _, hint = message.rpartition("|")
        fault = Fault(what or hint, key=dotted_key(*spot.path), hint=hint if what else "")
        return Refusal(spot.path, kind, fault)
    if details["loc"][-1] == "[key]":
        return _bad_name(spot.path, kind)
    return _wrong_value(spot.path, spot.value, kind)


def _missing(path: KeyPath) -> Refusal:
    what = f'found no "{path[-1]}", wanted {wanted_at(path)}'
    return Refusal(path, "missing", Fault(what, key=dotted_key(*path)))


def _unknown_key(path: KeyPath, hinted: bool) -> Refusal:
    known = [key for node in _nodes_at(path[:-1]) for key in node.get("properties", ())]
    what = f'found unknown key "{path[-1]}", wanted a key this table has'
    hint = home_of(path[0]) if len(path) == 1 else ""
    hint = hint or (nearest(path[-1], known) if hinted else "")
    return Refusal(path, "extra_forbidden", Fault(what, key=dotted_key(*path), hint=hint))


def _bad_name(path: KeyPath, kind: str) -> Refusal:
    wanted = "1 to 200 characters, none of them a control character, / or \\"
    what = f"found the name {shown(path[-1])}, wanted a name of {wanted}"
    return Refusal(path, kind, Fault(what, key=dotted_key(*path)))


def _wrong_value(path: KeyPath, value: Any, kind: str) -> Refusal:
    found, wanted = shown(value), wanted_at(path)
    if kind in _TOO_MUCH:
        found, wanted = _measured(value), _length_wanted(path, value)
    elif kind == "string_pattern_mismatch":
        slashes = ", / and \\" if path[-1] == "section" else ""
        wanted = f"text without line breaks, control characters{slashes}"
    elif isinstance(value, str) and kind != "literal_error":
        found += " (text)"
    hint = _near_literal(path, value) if kind == "literal_error" else ""
    return Refusal(
        path, kind, Fault(f"found {found}, wanted {wanted}", key=dotted_key(*path), hint=hint)
    )


def _near_literal(path: KeyPath, value: Any) -> str:
    """The nearest of the names a key may hold; none where all of them are as far."""
    names = [name for node in _nodes_at(path) for name in node.get("enum", ())]
    if not isinstance(value, str):
        return ""
    folded = {name.lower(): name for name in names if isinstance(name, str)}
    hint = nearest(value.lower(), folded)
    return hint if hint.startswith("nearest") else ""


def _measured(value: Any) -> str:
    if isinstance(value, str):
        return f"text of {len(value)} characters"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return f"{len(value)} tables" if value else "no table"


def _length_wanted(path: KeyPath, value: Any) -> str:
    if path == ("seats",):
        return wanted_at(path)
    kind = "string" if isinstance(value, str) else "array" if isinstance(value, list) else "object"
    found = [node for node in _nodes_at(path) if node.get("type") == kind]
    return " or ".join(map(_length, found))


def shown(value: Any) -> str:
    """A value as a person would read it in the file, shortened.

    Parameters
    ----------
    value : object
        Anything a TOML file can hold.

    Returns
    -------
    str
    """
    if isinstance(value, str):
        cut = value[:_SHOWN_LETTERS] + "…" if len(value) > _SHOWN_LETTERS else value
        return f'"{cut}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, date | datetime | time):
        return f"{value.isoformat()} (a date or time)"
    if isinstance(value, float) and not math.isfinite(value):
        return f"{value} (no finite number)"
    return str(value)


def wanted_at(path: KeyPath) -> str:
    """What a key of the scene may hold, in words with its unit and range.

    Parameters
    ----------
    path : tuple of str
        The key in parts, for example ("seats", "oboe", "bearing").

    Returns
    -------
    str
        For example "a number in degrees from -360 to 360".
    """
    if path == ("seats",):
        return "1 to 1000 tables [seats.NAME]"
    nodes = _nodes_at(path)
    if path[-1] in _WANTED_AT and len(nodes) > 1:
        return _WANTED_AT[path[-1]]
    words = [_described(node, path) for node in nodes]
    return " or ".join(dict.fromkeys(words)) or "nothing here"


def _described(node: Mapping[str, Any], path: KeyPath) -> str:
    if "enum" in node:
        names = [f'"{name}"' for name in node["enum"]]
        return "one of " + ", ".join(names) if len(names) > 1 else names[0]
    kind = node.get("type", "object")
    if kind in ("number", "integer"):
        return f"a {'whole ' if kind == 'integer' else ''}number{_unit(path)}{_range(node)}"
    plain = {"string": "text in quotes", "boolean": "true or false", "array": "a list"}
    return plain.get(kind, f"a table [{dotted_key(*path)}]")


def _unit(path: KeyPath) -> str:
    if len(path) > 1 and path[-2] == "perspectives":
        return " in dB"
    unit = _UNIT_OF.get(path[-1])
    return f" in {unit}" if unit else ""


def _range(node: Mapping[str, Any]) -> str:
    if "minimum" in node and "maximum" in node:
        return f" from {node['minimum']:g} to {node['maximum']:g}"
    limits = {
        "minimum": "at least",
        "exclusiveMinimum": "above",
        "maximum": "at most",
        "exclusiveMaximum": "below",
    }
    words = [f"{word} {node[limit]:g}" for limit, word in limits.items() if limit in node]
    return " " + " and ".join(words) if words else ""


def _length(node: Mapping[str, Any]) -> str:
    bounds = {
        "string": ("minLength", "maxLength", "characters"),
        "array": ("minItems", "maxItems", "items"),
        "object": ("minProperties", "maxProperties", "tables"),
    }
    low, high, counted = bounds[node["type"]]
    return f"{node.get(low, 0)} to {node[high]} {counted}"


def _nodes_at(path: KeyPath) -> list[Mapping[str, Any]]:
    """The schemas a key can follow: more than one where alternatives are accepted."""
    nodes = _alternatives(_schema())
    for part in path:
        nodes = [
            found
            for node in nodes
            if (step := _step(node, part)) is not None
            for found in _alternatives(step)
        ]
    return nodes


def _step(node: Mapping[str, Any], part: str) -> Mapping[str, Any] | None:
    named: Mapping[str, Any] = node.get("properties", {})
    if part in named:
        step: Mapping[str, Any] = named[part]
        return step
    inner = [*node.get("patternProperties", {}).values(), node.get("items")]
    return inner[0] if inner else None


def _alternatives(node: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    if "$ref" in node:
        return _alternatives(_schema()["$defs"][node["$ref"].rpartition("/")[2]])
    if "anyOf" in node:
        return [found for inner in node["anyOf"] for found in _alternatives(inner)]
    return [] if node.get("type") == "null" else [node]


@lru_cache(maxsize=1)
def _schema() -> dict[str, Any]:
    return scene_schema()
