"""Reports read back from disk: nothing in them can stop a render."""

from __future__ import annotations

from pathlib import Path

import pytest

from seatwright.disk.report_file import MOST_BYTES, found_report


def test_a_report_is_read_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "report.json").write_text('{"trim_db": -3, "title": "é"}', encoding="utf-8")
    assert found_report(tmp_path) == {"trim_db": -3, "title": "é"}


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"[]", b"3", b"\xff\xfe{}", b"[" * 100_000, b'{"a":' * 100_000, b"1" * 5000],
)
def test_what_is_no_report_reads_as_none(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "report.json").write_bytes(data)
    assert found_report(tmp_path) == {}


def test_a_huge_file_or_a_folder_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "report.json").mkdir()
    assert found_report(tmp_path) == {}
    (tmp_path / "report.json").rmdir()
    with (tmp_path / "report.json").open("wb") as file:
        file.write(b"{}")
        file.seek(MOST_BYTES)
        file.write(b" ")
    assert found_report(tmp_path) == {}
    assert found_report(tmp_path / "nowhere") == {}
