"""What a store of results holds, as text and as JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from seatwright.errors import printable
from seatwright.views.report import json_text
from seatwright.views.text_table import text_table

_WHAT = {
    "responses": "impulse responses of a seat",
    "sums": "rendered seats, summed a few at a time",
    "levels": "loudness and peaks of an output",
    "figures": "room figures",
    "stems": "inspections of a stem",
    "files": "digests of files",
    "reports": "reports of renders",
}


@dataclass(frozen=True)
class KindRow:
    """How many results of one kind there are, and their bytes."""

    kind: str
    count: int
    size: int


@dataclass(frozen=True)
class StoreFacts:
    """A store as it was looked at.

    Parameters
    ----------
    folder : str
    kinds : tuple of KindRow
    limit, removed : int
        Bytes it may hold; bytes just removed.
    damaged : tuple of str
        Files found damaged, and removed.
    verified : bool
        Whether all were read through.
    """

    folder: str
    kinds: tuple[KindRow, ...]
    limit: int
    removed: int = 0
    damaged: tuple[str, ...] = ()
    verified: bool = False

    @property
    def size(self) -> int:
        """Bytes in it."""
        return sum(row.size for row in self.kinds)


def store_table(facts: StoreFacts) -> str:
    """A line a kind, then the sum, the limit, and what was done."""
    rows = [[_WHAT[row.kind], str(row.count), _size(row.size)] for row in facts.kinds]
    count = sum(row.count for row in facts.kinds)
    rows.append(["all", str(count), _size(facts.size)])
    lines = [
        f"store of results in {printable(facts.folder)}",
        text_table(["what", "results", "size"], rows),
        f"limit {_size(facts.limit)}; beyond it goes what was used longest ago",
    ]
    if facts.removed:
        lines.append(f"removed {_size(facts.removed)}")
    if facts.verified:
        found = f"{len(facts.damaged)} damaged, removed" if facts.damaged else "all as written"
        lines.append(f"read through: {found}")
    lines += [f"  {printable(path)}" for path in facts.damaged]
    return "\n".join(lines) + "\n"


def store_json(facts: StoreFacts) -> str:
    """All of it."""
    return json_text({**asdict(facts), "size": facts.size})


def _size(count: int) -> str:
    for unit, digits in (("GB", 9), ("MB", 6), ("kB", 3)):
        if count >= 10**digits:
            return f"{count / 10**digits:.1f} {unit}"
    return f"{count} bytes"
