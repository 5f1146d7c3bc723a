"""The one line of a render, and the lines of what hinders one."""

from __future__ import annotations

from math import inf

from seatwright.errors import Fault
from seatwright.views.watch_line import fault_lines, render_line, warning_lines, warning_words

AT = "14:02:11"


def test_a_line_tells_when_what_how_long_and_how_loud() -> None:
    line = render_line(AT, ["violas moved 0.8 m", "horns.wav exported anew"], 1.44, -18.24)
    assert line == (
        "14:02:11 violas moved 0.8 m; horns.wav exported anew: rendered in 1.4 s, -18.2 LUFS"
    )


def test_a_new_trim_and_warnings_are_told() -> None:
    line = render_line(AT, ["horns gain +9.0 dB"], 312.3, -inf, -3.25, "2 new warnings in x")
    assert line == (
        "14:02:11 horns gain +9.0 dB: rendered in 312 s, silence, trim now -3.25 dB, "
        "2 new warnings in x"
    )


def test_many_changes_are_counted() -> None:
    five = [f"s{number} moved 1.0 m" for number in range(5)]
    assert "s4 moved" in render_line(AT, five, 1.0, -20.0)
    six = render_line(AT, [*five, "s5 moved 1.0 m"], 1.0, -20.0)
    assert "s3 moved 1.0 m; 2 more changes: rendered" in six


def test_names_reach_the_terminal_as_text() -> None:
    assert "\x1b" not in render_line(AT, ["\x1b[31m moved 1.0 m"], 1.0, -20.0)


def test_warnings_of_the_render_before_are_not_told_again() -> None:
    assert warning_words(["a", "b"], None) == "2 warnings"
    assert warning_words(["a", "b"], ["a"]) == "1 new warning"
    assert warning_words(["a"], ["a", "c"]) == ""


def test_warnings_are_told_whole_and_many_are_counted() -> None:
    assert warning_lines(["a", "b"], ["a"]) == ["  b"]
    assert warning_lines(["a", "b", "c"], None) == ["  a", "  b", "  c"]
    assert warning_lines(list("abcdef"), ["a"])[2:] == ["  d", "  and 2 more in report.txt"]
    assert warning_lines(["a"], ["a"]) == []
    assert "\x1b" not in warning_lines(["\x1b[31m"], None)[0]


def test_every_fault_has_a_line() -> None:
    lines = fault_lines(AT, [Fault("one", "s.toml", 3), Fault("two")], "waiting")
    assert lines == ["14:02:11 not rendered, 2 faults; waiting", "  s.toml:3: one", "  two"]
