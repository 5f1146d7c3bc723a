"""Plots: points where the data are, names apart, nothing in a name that acts."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from math import inf, log10, nan
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatwright.views.dot_plot import Dot, dot_plot
from seatwright.views.line_plot import Line, line_plot
from seatwright.views.plot_frame import SMALL, WIDE, Axis, Sheet, short_name

SVG = "{http://www.w3.org/2000/svg}"
X, Y = Axis("seconds", 0.0, 10.0), Axis("dB", -60.0, 0.0)
HERTZ = Axis("Hz", 20.0, 20_000.0, logarithmic=True)


def elements(svg: str, tag: str, kind: str = "") -> list[ElementTree.Element]:
    found = ElementTree.fromstring(svg).iter(f"{SVG}{tag}")
    return [each for each in found if not kind or kind in each.get("class", "").split()]


def strokes(svg: str, sheet: Sheet, x: Axis, y: Axis) -> list[list[list[tuple[float, float]]]]:
    """Data of each line, read back from its path, one list a stroke of the pen."""
    return [
        [
            [value(sheet, x, y, *map(float, pair.split())) for pair in stroke.split("L")]
            for stroke in path.get("d", "").split("M")[1:]
        ]
        for path in elements(svg, "path", "line")
    ]


def value(sheet: Sheet, x: Axis, y: Axis, across: float, down: float) -> tuple[float, float]:
    part = (across - sheet.left) / (sheet.width - sheet.left - sheet.right)
    up = (sheet.height - sheet.bottom - down) / (sheet.height - sheet.bottom - sheet.top)
    a = x.low * (x.high / x.low) ** part if x.logarithmic else x.low + part * (x.high - x.low)
    return a, y.low + up * (y.high - y.low)


@pytest.mark.parametrize("sheet", [WIDE, SMALL])
@pytest.mark.parametrize("x", [X, HERTZ])
def test_points_stand_where_the_data_are(sheet: Sheet, x: Axis) -> None:
    times = [0.5, 3.0, 9.9] if x is X else [31.5, 440.0, 12_345.0]
    levels = [-55.5, -1.25, -30.0]
    ((stroke,),) = strokes(line_plot("a", [Line("a", times, levels)], x, Y, sheet), sheet, x, Y)
    for (a, b), time, level in zip(stroke, times, levels, strict=True):
        assert b == pytest.approx(level, abs=0.03)
        assert a == pytest.approx(time, rel=0.003, abs=0.03 if x is X else 0.0)


def test_what_is_beyond_an_axis_stays_at_its_end() -> None:
    line = Line("a", [-5.0, 50.0], [-99.0, 9.0])
    (((low, high),),) = strokes(line_plot("a", [line], X, Y), WIDE, X, Y)
    assert low == (0.0, -60.0)
    assert high == (10.0, 0.0)


def test_points_without_a_value_leave_a_gap() -> None:
    line = Line("a", [0.0, 1.0, 2.0, 3.0, 4.0], [-1.0, -2.0, nan, -3.0, -inf])
    ((first, second),) = strokes(line_plot("a", [line], X, Y), WIDE, X, Y)
    assert [len(first), len(second)] == [2, 1]
    assert elements(line_plot("a", [Line("b", [1.0], [nan])], X, Y), "path", "line") == []


def test_lines_differ_by_dashes_and_soft_ones_lie_behind() -> None:
    lines = [Line(f"{n}", [0.0, 9.0], [-n, -n - 9.0], soft=n == 3) for n in range(9)]
    paths = elements(line_plot("a", lines, X, Y), "path", "line")
    assert len({path.get("stroke-dasharray") for path in paths}) == 9
    assert paths[0].get("class") == "line soft"
    assert all(path.get("class") == "line" for path in paths[1:])


@given(ends=st.lists(st.floats(-60.0, 0.0), min_size=1, max_size=20))
def test_names_at_the_ends_do_not_lie_on_one_another(ends: Sequence[float]) -> None:
    lines = [Line(f"line {n}", [0.0, 9.0], [-10.0, end]) for n, end in enumerate(ends)]
    labels = elements(line_plot("a", lines, X, Y), "text", "label")
    downs = sorted(float(label.get("y", "")) for label in labels)
    assert len(downs) == len(ends)
    assert all(b - a > 11.8 for a, b in itertools.pairwise(downs))
    assert downs[-1] <= WIDE.height


def test_small_sheets_have_no_names() -> None:
    assert not elements(line_plot("a", [Line("a", [1.0], [-1.0])], X, Y, SMALL), "text", "label")


@pytest.mark.parametrize(
    ("axis", "count", "ticks"),
    [
        (Axis("", 0.0, 10.0), 5, [0, 2, 4, 6, 8, 10]),
        (Axis("", -67.0, -7.0), 6, [-60, -50, -40, -30, -20, -10]),
        (Axis("", 0.0, 0.3), 3, [0.0, 0.1, 0.2, 0.3]),
        (Axis("", 100.0, 2100.0, True), 9, [125, 250, 500, 1000, 2000]),
        (Axis("", 22.0, 22_400.0, True), 5, [31.5, 125, 500, 2000, 8000]),
    ],
)
def test_ticks_are_round(axis: Axis, count: int, ticks: list[float]) -> None:
    assert axis.ticks(count) == pytest.approx(ticks)


def test_an_axis_places_by_ratio_or_by_difference() -> None:
    assert X.place(2.5) == 0.25
    assert HERTZ.place(200.0) == pytest.approx(1.0 / 3.0)
    assert HERTZ.place(632.4555) == pytest.approx(log10(31.622776) / 3.0)


def test_a_plot_has_a_title_and_words() -> None:
    assert len(elements(line_plot("x" * 999, [], X, Y, SMALL), "title")[0].text or "") < 40
    svg = line_plot("strings <&>", [], X, Y, about='falls "slowly" & evenly')
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img"
    assert root.findtext(f"{SVG}title") == "strings <&>"
    assert root.findtext(f"{SVG}desc") == 'falls "slowly" & evenly'
    texts = [each.text for each in elements(svg, "text")]
    assert {"seconds", "dB", "-60", "10"} <= set(texts)


@given(name=st.text(min_size=1))
def test_any_name_is_only_a_name(name: str) -> None:
    hostile = f"\"'><script>alert(1)</script>\u202e{name}"
    dot, line = Dot(hostile, 1.0, -1.0), Line(hostile, [1.0], [-1.0])
    for svg in (dot_plot(hostile, [dot], X, Y, WIDE), line_plot(hostile, [line], X, Y)):
        assert not elements(svg, "script")
        (label,) = elements(svg, "text", "label")
        assert label.text == short_name(hostile)
        assert len(label.text or "") <= 22 and "\u202e" not in svg


def test_dots_stand_where_the_data_are() -> None:
    dots = [Dot("a", 2.0, -20.0), Dot("b", 8.0, -50.0), Dot("gone", nan, -3.0), Dot("no", 1, -inf)]
    circles = elements(dot_plot("a", dots, X, Y, WIDE), "circle", "dot")
    found = {
        value(WIDE, X, Y, float(each.get("cx", "")), float(each.get("cy", ""))) for each in circles
    }
    wanted = {(2.0, -20.0), (8.0, -50.0)}
    assert len(found) == 2
    for (a, b), (x, y) in zip(sorted(found), sorted(wanted), strict=True):
        assert (a, b) == (pytest.approx(x, abs=0.02), pytest.approx(y, abs=0.03))


@given(
    places=st.lists(st.tuples(st.floats(0.0, 10.0), st.floats(-60.0, 0.0)), min_size=1, max_size=12)
)
def test_names_of_dots_lie_neither_on_names_nor_outside(
    places: list[tuple[float, float]],
) -> None:
    sheet = Sheet(760.0, 400.0, right=20.0)
    svg = dot_plot("a", [Dot(f"seat {n}", *at) for n, at in enumerate(places)], X, Y, sheet)
    boxes = []
    for label in elements(svg, "text", "label"):
        left, base = float(label.get("x", "")), float(label.get("y", ""))
        boxes.append((left, base, left + 6.0 * len(label.text or "")))
    assert len(boxes) == len(places)
    for n, (left, base, right) in enumerate(boxes):
        assert left > 0.0 and right <= sheet.width and 0.0 < base < sheet.height
        for other_left, other_base, other_right in boxes[:n]:
            apart = right <= other_left or other_right <= left
            assert apart or abs(base - other_base) > 11.0


def test_only_numbers_and_plain_words_stand_in_the_drawing() -> None:
    svg = line_plot("a", [Line("b", [1.0, 2.0], [-1.0, -2.0])], X, Y)
    assert re.findall(r"https?://[^\"]*", svg) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"nan|inf", svg)
