"""Text of a TOML file: limits hold before parsing, quickly, and only for what they are about."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatwright.disk.toml_text import DEEPEST_NESTING, MOST_BYTES, decoded, parsed
from seatwright.errors import Fault

MIB = 2**20


def faults_of(data: bytes | str) -> list[Fault]:
    text, faults = decoded(data.encode() if isinstance(data, str) else data)
    return faults or parsed(text)[1]


@pytest.mark.parametrize(
    "text",
    [
        'x = "[[[[[[[[[[[[[[[[[[[["',
        "x = '{{{{{{{{{{{{{{{{{{{{'",
        "# [[[[[[[[[[[[[[[[[[[[[[[",
        'x = """\n[[[[[[[[[[[[[[[[[[[[\\""" ["""\ny = 1',
        'x = """a"""""\ny = "[[[[[[[[[[[[[[[[[[["',
        "x = '''[[[[[[[[[[[[[[[[[[''''\ny = 1",
        'x = "\\"[[[[[[[[[[[[[[[[[[["',
        "x = " + "[" * DEEPEST_NESTING + "]" * DEEPEST_NESTING,
        f"x = [{'[],' * 500}]",
        'x = "12345678901234567890123456789012345678901234567890"',
        "12345678901234567890123456789012345678901234567890 = 1",
        "x.12345678901234567890123456789012345678901234567890 = 1",
        "# 12345678901234567890123456789012345678901234567890",
        "x = -9223372036854775808\ny = 9223372036854775807",
        f"# {'-' * 4094}",
        "\ufeffx = 1\r\ny = 2\r\n",
    ],
)
def test_text_within_the_limits_is_parsed(text: str) -> None:
    assert faults_of(text) == []


@pytest.mark.parametrize(
    ("text", "says", "line"),
    [
        ("a = 1\nx = " + "[" * 17 + "]" * 17, "deeper than 16", 2),
        ("x = " + "{ a = " * 17 + "1" + " }" * 17, "deeper than 16", 1),
        ('x = ["""a"""", ' + "[" * 16 + "]" * 16 + "]", "deeper than 16", 1),
        ("x = ['''a''''', " + "[" * 16 + "]" * 16 + "]", "deeper than 16", 1),
        ("\n\n[a" + ".b" * 16 + "]", "deeper than 16", 3),
        ("a" + ' . "b"' * 16 + " = 1", "deeper than 16", 1),
        ("x = " + "[" * 100_000, "found a line of 100004 bytes", 1),
        ("x = [\n" + "[\n" * 100_000, "deeper than 16", 17),
        ("x = 1" + "0" * 30, "found a number of 31 digits, wanted at most 30", 1),
        ("x = [0x" + "f" * 40 + "]", "found a number of 42 digits", 1),
        ("x = 9223372036854775808", "within 64 bits", 0),
        ("x = -9223372036854775809", "within 64 bits", 0),
        (f"# {'é' * 2048}", "found a line of 4098 bytes", 1),
    ],
)
def test_text_beyond_a_limit_is_refused(text: str, says: str, line: int) -> None:
    fault = faults_of(text)[0]
    assert says in fault.what
    assert fault.line == line


def test_nesting_counts_headers_and_brackets_together() -> None:
    inner = "[" * 9 + "1" + "]" * 9
    assert faults_of(f"[a.b.c.d.e.f.g]\nh = {inner}") == []
    (fault,) = faults_of(f"[a.b.c.d.e.f.g.h]\ni = {inner}")
    assert "deeper than 16" in fault.what
    assert fault.key.startswith("a.b.c.d.e.f.g.h.i")


def test_size_is_bounded() -> None:
    fits = b"#" + b"\n" * (MOST_BYTES - 1)
    assert faults_of(fits) == []
    assert "found more than 1048576 bytes" in faults_of(fits + b"\n")[0].what


@pytest.mark.parametrize(
    ("data", "offset", "line", "hint"),
    [
        (b"x = 1\ny = '\xff'", 11, 2, "UTF-8"),
        (b"\xef\xbb\xbfx = '\xc3'", 8, 1, "UTF-8"),
        ("x = 1\n".encode("utf-16"), 0, 1, "UTF-16"),
    ],
)
def test_bytes_that_are_not_utf_8(data: bytes, offset: int, line: int, hint: str) -> None:
    (fault,) = faults_of(data)
    assert f"0x{data[offset]:02x} at offset {offset} " in fault.what
    assert fault.line == line
    assert hint in fault.hint


HARD_TEXTS = {
    "the same key": "x=1\n" * (MIB // 4),
    "deep keys": "".join(f"x{n}{'.a' * 15}=1\n" for n in range(20_000)),
    "quotes not closed": '"\n' * (MIB // 2),
    "long texts not closed": "'''\n\"\"\"\n" * (MIB // 8),
    "escaped quotes": '"""\\\n' * (MIB // 5),
    "open brackets": ("[" * 16 + "\n") * (MIB // 17),
    "long numbers": f"x = {'1' * 4000}\n" * 250,
    "dots": ("." * 4000 + "\n") * 250,
    "dots and spaces": ("a. " * 1300 + "\n") * 250,
    "backslashes": ('x = "' + "\\" * 4000 + "\n") * 250,
}


@pytest.mark.parametrize("name", HARD_TEXTS)
def test_hard_text_of_full_size_takes_seconds_at_most(name: str) -> None:
    started = time.process_time()
    assert faults_of(HARD_TEXTS[name][:MIB]) != [] or name == "deep keys"
    assert time.process_time() - started < 4.0


@settings(max_examples=150, deadline=1000, derandomize=True)
@given(st.text(alphabet="[]{}\"'\\.,=#\n ab1-_\r\té\x00", max_size=300))
def test_no_text_escapes_as_another_exception(text: str) -> None:
    for fault in faults_of(text):
        assert fault.what.startswith("found ")


@settings(max_examples=100, deadline=1000, derandomize=True)
@given(st.binary(max_size=200))
def test_no_bytes_escape_as_another_exception(data: bytes) -> None:
    for fault in faults_of(data):
        assert fault.what.startswith("found ")
