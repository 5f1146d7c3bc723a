"""Tables in plain text: first column left, numbers right."""

from __future__ import annotations

import unicodedata


def text_table(heads: list[str], rows: list[list[str]]) -> str:
    """Lay out a table.

    Parameters
    ----------
    heads : list of str
    rows : list of list of str
        As many cells each as there are heads.

    Returns
    -------
    str
        Lines without trailing spaces; words and the first column left, numbers right.
    """
    columns = list(zip(heads, *rows, strict=True))
    widths = [max(_width(cell) for cell in column) for column in columns]
    right = [False, *(_numeric(column[1:]) for column in columns[1:])]
    lines = [
        "  ".join(
            _padded(cell, width, to_right)
            for cell, width, to_right in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in (heads, *rows)
    ]
    return "\n".join(lines)


def _width(text: str) -> int:
    """Columns of a terminal: wide characters take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _padded(text: str, width: int, to_right: bool) -> str:
    space = " " * (width - _width(text))
    return space + text if to_right else text + space


def _numeric(cells: tuple[str, ...]) -> bool:
    return all(cell == "-" or cell.lstrip("+-<")[:1].isdigit() for cell in cells)
