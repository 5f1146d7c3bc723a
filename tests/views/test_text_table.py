"""Tables in plain text."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.views.text_table import text_table


def test_words_left_numbers_right() -> None:
    found = text_table(["seat", "dB", "note"], [["oboe", "-3.5", "a"], ["harp", "+10.0", "bc"]])
    assert found == "seat     dB  note\noboe   -3.5  a\nharp  +10.0  bc"


def test_a_dash_counts_as_a_number_and_ends_are_bare() -> None:
    found = text_table(["a", "level"], [["x", "1.0"], ["y", "-"]])
    assert found == "a  level\nx    1.0\ny      -"


@pytest.mark.parametrize(
    ("name", "width"), [("\u5f26\u697d", 4), ("e\u0301tude", 5), ("caf\u00e9", 4)]
)
def test_columns_are_counted_as_a_terminal_shows_them(name: str, width: int) -> None:
    head, row = text_table(["n", "1"], [[name, "2"]]).split("\n")
    assert head.index("1") == width + 2
    assert row == f"{name}  2"


def test_no_rows() -> None:
    assert text_table(["a", "b"], []) == "a  b"


@given(
    rows=st.lists(
        st.lists(st.text("abc 0123.-", max_size=8), min_size=3, max_size=3), min_size=1, max_size=5
    )
)
def test_lines_hold_every_cell_in_order_and_no_trailing_space(rows: list[list[str]]) -> None:
    lines = text_table(["one", "two", "three"], rows).split("\n")
    assert len(lines) == 1 + len(rows)
    for line, row in zip(lines[1:], rows, strict=True):
        assert line == line.rstrip()
        place = 0
        for cell in (cell.strip() for cell in row):
            place = line.index(cell, place) + len(cell)


def test_ragged_rows_are_a_mistake() -> None:
    with pytest.raises(ValueError, match="zip"):
        text_table(["a", "b"], [["1"]])
