"""Fields of a table from strangers: each taken with its bounds, every fault kept."""

from __future__ import annotations

import json
import re
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from seatwright.errors import Fault

_SHOWN = 60

VERSION_ID = r"v[1-9][0-9]?"
FORMS = {
    VERSION_ID: "a version, v1 to v99",
    **{
        f"[0-9a-f]{{{count}}}": f"{count} characters of 0 to 9 and a to f" for count in (16, 32, 64)
    },
}
"""What a text of a pattern is, for people."""


def shown(value: Any) -> str:
    """A value as JSON, cut to a length that a line can hold."""
    if isinstance(value, dict | list):
        return "a list" if isinstance(value, list) else "an object"
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


@dataclass
class Fields:
    """A table, where it stands, and the faults found in it so far.

    Parameters
    ----------
    table : Any
        Should be a dict; anything else is a fault.
    place : str
        Key that leads to the table; "" at the top.
    faults : list of Fault
        Shared with the tables inside.
    """

    table: Any
    place: str = ""
    faults: list[Fault] = field(default_factory=list)

    def __post_init__(self) -> None:
        if not isinstance(self.table, dict):
            self._fault("", f"found {shown(self.table)}, wanted an object")
            self.table = {}

    def only(self, known: Collection[str]) -> None:
        """Every key has to be one of these."""
        for key in sorted(set(self.table) - set(known))[:3]:
            what = f"found a key nobody knows, wanted none but: {', '.join(known)}"
            self._fault(key[:_SHOWN], what)

    def text(
        self, key: str, pattern: str = "", longest: int = 200, choices: Collection[str] = ()
    ) -> str:
        """A text; "" where it is wrong."""
        value = self.table.get(key)
        if not isinstance(value, str):
            self._wrong(key, "text")
        elif len(value) > longest:
            self._fault(key, f"found {len(value)} characters, wanted {longest} at most")
        elif choices and value not in choices:
            self._wrong(key, f"one of: {', '.join(choices)}")
        elif pattern and not re.fullmatch(pattern, value):
            self._wrong(key, FORMS.get(pattern, f"the form {pattern}"))
        else:
            return value
        return ""

    def number(self, key: str, low: float, high: float) -> float:
        """A number between bounds; `low` where it is wrong."""
        value = self.table.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self._wrong(key, "a number")
        elif not low <= value <= high:
            self._wrong(key, f"a number from {low:.10g} to {high:.10g}")
        else:
            return float(value)
        return low

    def whole(self, key: str, low: int, high: int) -> int:
        """A whole number between bounds; `low` where it is wrong."""
        value = self.table.get(key)
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            self._wrong(key, "a whole number")
        elif not low <= value <= high:
            self._wrong(key, f"a whole number from {low} to {high}")
        else:
            return value
        return low

    def format(self, key: str, known: int) -> None:
        """The number of a file's format has to be the one this program writes."""
        value = self.table.get(key)
        if isinstance(value, bool) or value != known:
            self._wrong(key, f"{known}, the only format this version reads")

    def items(self, key: str, most: int) -> list[Any]:
        """A list; empty where it is wrong."""
        value = self.table.get(key)
        if not isinstance(value, list):
            self._wrong(key, "a list")
            return []
        if len(value) > most:
            self._fault(key, f"found {len(value)} entries, wanted {most} at most")
            return []
        return value

    def inside(self, key: str) -> Fields:
        """The table that stands under a key."""
        return Fields(self.table.get(key), self._path(key), self.faults)

    def tables(self, key: str, most: int) -> list[Fields]:
        """The tables of a list."""
        return [
            Fields(value, f"{self._path(key)}[{number}]", self.faults)
            for number, value in enumerate(self.items(key, most))
        ]

    def missing(self, key: str) -> bool:
        """Whether a key is not there or null."""
        return self.table.get(key) is None

    def fault(self, key: str, what: str) -> None:
        """Keep a fault of a key."""
        self._fault(key, what)

    def _wrong(self, key: str, wanted: str) -> None:
        found = shown(self.table[key]) if key in self.table else "nothing"
        self._fault(key, f"found {found}, wanted {wanted}")

    def _fault(self, key: str, what: str) -> None:
        self.faults.append(Fault(what, key=self._path(key)))

    def _path(self, key: str) -> str:
        return f"{self.place}.{key}" if self.place and key else self.place or key
