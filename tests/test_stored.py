"""Looking at the store from the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from seatwright.cli import main
from seatwright.disk.store import Store


def run(*arguments: str) -> None:
    with pytest.raises(SystemExit) as end:
        main(["store", *arguments])
    assert end.value.code in (0, None)


@pytest.fixture
def filled(stage: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    stage.stem("a.wav", stage.noise(1, 0.3))
    stage.write('[seats.a]\nstem = "a"\nx = 1\ny = 2\n')
    folder = tmp_path / "results"
    stage.render(store=Store(folder))
    monkeypatch.setenv("SEATWRIGHT_STORE", str(folder))
    return folder


def test_it_shows_what_is_there(filled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run()
    text = capsys.readouterr().out
    assert str(filled) in text
    rows = {line[:30].strip(): line.split()[-3:] for line in text.splitlines()[2:]}
    assert rows["impulse responses of a seat"][0] == "1"
    assert rows["reports of renders"][0] == "1"
    assert "limit 8.0 GB" in text
    run("--json")
    facts = json.loads(capsys.readouterr().out)
    assert facts["size"] == sum(path.stat().st_size for path in filled.rglob("*.kept"))
    assert facts["limit"] == 8 * 10**9


def test_it_is_limited_verified_and_cleared(
    filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("--verify")
    assert "read through: all as written" in capsys.readouterr().out
    (path,) = (filled / "sums").rglob("*.kept")
    path.write_bytes(path.read_bytes()[:-3])
    run("--verify")
    out = capsys.readouterr().out
    assert "read through: 1 damaged, removed" in out
    assert str(path) in out
    run("--limit", "2.5")
    assert "limit 2.5 GB" in capsys.readouterr().out
    assert list(filled.rglob("*.kept"))
    run("--clear")
    assert "removed " in capsys.readouterr().out
    assert not list(filled.rglob("*.kept"))
    run()
    assert "limit 2.5 GB" in capsys.readouterr().out


@pytest.mark.parametrize("size", ["-1", "nan", "inf", "1e9"])
def test_a_limit_that_is_no_size(
    filled: Path, size: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main(["store", "--limit", size])
    assert end.value.code == 2
    assert "found a limit of" in capsys.readouterr().err
    assert list(filled.rglob("*.kept"))


def test_no_store_and_no_store_s_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["store"])
    assert end.value.code == 4
    assert "SEATWRIGHT_STORE set to nothing" in capsys.readouterr().err
    (tmp_path / "letter").write_text("dear")
    with pytest.raises(SystemExit) as end:
        main(["store", "--clear", "--folder", str(tmp_path)])
    assert end.value.code == 4
    assert "found a folder with other things in it" in capsys.readouterr().err
    assert (tmp_path / "letter").read_text() == "dear"


def test_an_empty_name_is_no_store(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["store", "--folder", ""])
    assert end.value.code == 2
    assert "found no name, wanted a folder" in " ".join(capsys.readouterr().err.split())
