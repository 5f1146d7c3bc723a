"""The command line: exit codes, one line a fault, and nothing a terminal would act on."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import seatwright
from seatwright.cli import main
from seatwright.console import progress_bar
from seatwright.stage.bands import BAND_NAMES

SEAT = """
[seats."{name}"]
stem = "{stem}"
section = "winds"
bearing = -20
distance = 2.2
"""


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error."""
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    code = end.value.code
    return (0 if code is None else int(code)), told.out, told.err


def child(*arguments: str, cwd: Path, **environment: str) -> subprocess.Popen[bytes]:
    source = str(Path(seatwright.__file__).parents[1])
    return subprocess.Popen(
        [sys.executable, "-m", "seatwright", *arguments],
        cwd=cwd,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": source, **environment},
    )


@pytest.fixture
def ready(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A stage with one seat, whose folder is the one to work in."""
    stage.stem("oboe.wav", stage.noise(1, 0.2))
    stage.write(SEAT.format(name="oboe", stem="oboe.wav"))
    monkeypatch.chdir(stage.folder)
    return stage


def test_a_render_prints_its_report_and_says_where(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, "render", "scene.toml")
    folder = ready.folder / "renders" / "scene"
    assert code == 0
    assert out == (folder / "report.txt").read_text()
    assert err == f"\nwritten to {Path('renders') / 'scene'}\n"
    assert {path.name for path in folder.iterdir()} == {
        "mix.wav",
        "sections",
        "report.txt",
        "report.html",
        "report.json",
    }


def test_options_reach_the_render(ready: Any, capsys: pytest.CaptureFixture[str]) -> None:
    with ready.scene.open("a") as file:
        file.write("[seatings.left.oboe]\nbearing = -60\n")
    code, out, _ = run(
        capsys, "render", "scene.toml", "--json", "--seating", "left", "--only", "winds", "--from",
        "0.05", "--to", "0.15", "--stems", "--perspectives", "--format", "flac", "--depth", "16",
        "--trim", "-3", "--threads", "1",
    )  # fmt: skip
    facts = json.loads(out)
    assert code == 0
    assert (facts["seating"], facts["trim_db"], facts["encoding"]) == ("left", -3.0, "flac PCM_16")
    assert (facts["first_frame"], facts["frames"]) == (800, 1_600)
    assert facts["seats"][0]["bearing"] == -60.0
    folder = ready.folder / "renders" / "scene left winds 0.05-0.15 s"
    assert json.loads((folder / "report.json").read_text()) == facts
    assert {row["kind"] for row in facts["outputs"]} == {
        "mix",
        "sections",
        "stems",
        "perspectives",
    }


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["render"], "Missing argument"),
        (["render", "gone.toml"], "gone.toml: found no such file, wanted a scene"),
        (["render", "."], "found a folder, wanted a scene file"),
        (["render", "scene.toml", "--loud"], "No such option"),
        (["render", "scene.toml", "--depth", "12"], "'12' is not one of"),
        (["render", "scene.toml", "--format", "flac", "--depth", "float"], "found FLAC at float"),
        (["render", "scene.toml", "--trim", "nan"], "found a trim of nan dB, wanted -120 to 60"),
        (["render", "scene.toml", "--only", "obo"], "wanted a section or a seat"),
        (["render", "scene.toml", "--seating", "x"], 'found no seating "x", wanted one of: none'),
        (["render", "scene.toml", "--from", "99"], "found an excerpt from 99 s on, wanted a part"),
        (["render", "scene.toml", "--out", ""], "found no name, wanted a folder"),
        (["render", "scene.toml", "--from", "-1"], "Invalid value for '--from'"),
        (["render", "scene.toml", "--out", "."], ""),
        (["dance"], "No such command"),
    ],
)
def test_scene_and_usage_faults_end_with_2(
    ready: Any, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    if "." in arguments[2:]:  # the mix would stand where a stem stands
        (ready.folder / "oboe.wav").rename(ready.folder / "mix.wav")
        ready.write(SEAT.format(name="oboe", stem="mix.wav"))
        said = "this output would overwrite the input"
    before = ready.digests(".")
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert ready.digests(".") == before


def test_every_fault_of_a_scene_has_its_line(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    ready.write(SEAT.format(name="oboe", stem="oboe.wav") + "gain = 99\nbearin = 3\n")
    code, _, err = run(capsys, "render", "scene.toml")
    assert code == 2
    lines = err.splitlines()
    assert len(lines) == 2
    assert all(line.startswith("seatwright: scene.toml:") for line in lines)


@pytest.mark.parametrize("fault", ["missing", "text", "truncated", "nan"])
def test_stem_faults_end_with_3(ready: Any, capsys: pytest.CaptureFixture[str], fault: str) -> None:
    path = ready.folder / "oboe.wav"
    if fault == "missing":
        path.rename(ready.folder / "oboes.wav")
    elif fault == "text":
        path.write_text("oboe")
    elif fault == "truncated":
        path.write_bytes(path.read_bytes()[:-999])
    else:
        ready.stem("oboe.wav", np.array([[0.0], [np.nan]]), subtype="FLOAT")
    code, out, err = run(capsys, "render", "scene.toml")
    assert (code, out) == (3, "")
    assert "oboe.wav" in err
    assert not (ready.folder / "renders").exists()
    if fault == "truncated":
        assert run(capsys, "render", "scene.toml", "--allow-truncated")[0] == 0


def test_a_trim_that_clips_ends_with_1_and_keeps_the_older_outputs(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(capsys, "render", "scene.toml", "--out", "out")[0] == 0
    before = ready.digests("out")
    code, out, err = run(capsys, "render", "scene.toml", "--out", "out", "--trim", "60")
    assert (code, out) == (1, "")
    assert "over full scale" in err
    assert ready.digests("out") == before


def test_disk_faults_end_with_4(ready: Any, capsys: pytest.CaptureFixture[str]) -> None:
    (ready.folder / "out").write_text("in the way")
    code, out, err = run(capsys, "render", "scene.toml", "--out", "out")
    assert (code, out) == (4, "")
    assert err.startswith("seatwright: out: is a file, wanted a folder")


@pytest.mark.parametrize(
    ("raised", "code", "said"),
    [
        (MemoryError(), 1, "not enough memory for this render"),
        (OSError(5, "Input/output error", "\x1b[31mred"), 4, "Input/output error: \\x1b[31mred"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ],
)
def test_what_comes_from_below_ends_with_one_line(
    ready: Any,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    raised: BaseException,
    code: int,
    said: str,
) -> None:
    def fails(*_: Any) -> None:
        raise raised

    monkeypatch.setattr("seatwright.kept_render.render", fails)
    found, _, err = run(capsys, "render", "scene.toml")
    assert found == code
    assert said in err
    assert err.startswith("seatwright: ")
    assert err.count("\n") == 1


def test_a_part_never_goes_over_the_whole_by_itself(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(capsys, "render", "scene.toml")[0] == 0
    whole = ready.digests("renders/scene")
    for more, name in (
        (("--only", "winds"), "scene winds"),
        (("--from", "0.05"), "scene from 0.05 s"),
        (("--only", "oboe", "--to", "0.1"), "scene oboe 0-0.1 s"),
    ):
        assert run(capsys, "render", "scene.toml", *more)[0] == 0
        assert "report.json" in ready.digests(f"renders/{name}")
    assert ready.digests("renders/scene") == whole


HOSTILE = "\x1b]0;owned\x07\x9b2J\u202e"


def inert(text: str) -> bool:
    return all(letter.isprintable() or letter == "\n" for letter in text)


def test_hostile_names_are_refused_or_inert(ready: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """Control characters are no names; marks that turn text round stand as escapes."""
    escaped = json.dumps(HOSTILE)[1:-1].replace("\\u009b", "\\u009B")
    ready.write(SEAT.format(name=escaped, stem="oboe.wav"))
    code, out, err = run(capsys, "render", "scene.toml")
    assert (code, inert(out + err)) == (2, True)
    ready.write(SEAT.format(name="\u202eoboe\u200b", stem="oboe.wav"))
    for more in ((), ("--json",)):
        code, out, err = run(capsys, "render", "scene.toml", *more)
        assert (code, inert(out + err)) == (0, True)
        assert "\\u202eoboe\\u200b" in out


def test_hostile_files_and_folders_are_inert(
    ready: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    name = f"a{HOSTILE}.toml"
    ready.scene.rename(ready.folder / name)
    for more in ((), ("--json",)):
        code, out, err = run(capsys, "render", name, *more)
        assert (code, inert(out + err)) == (0, True)
        assert "\\x1b" in err
    (ready.folder / "oboe.wav").rename(ready.folder / f"oboe{HOSTILE}.wav")
    code, out, err = run(capsys, "render", name)
    assert (code, inert(out + err)) == (3, True)


def test_a_terminal_without_all_letters_and_bytes_that_are_no_text(ready: Any) -> None:
    """In a child that can only write western letters, with a folder named in another encoding."""
    ready.write(SEAT.format(name="Fl\u00f6te", stem="oboe.wav"), head='title = "\u5f26\u697d"')
    folder = os.fsdecode(b"caf\xe9")
    ended = child(
        "render", "scene.toml", "--out", folder, cwd=ready.folder, PYTHONIOENCODING="latin-1"
    )
    out, err = ended.communicate(timeout=60)
    assert ended.returncode == 0
    assert b"Fl\xf6te" in out
    assert out.startswith(b"\\u5f26\\u697d\n")
    assert b"written to caf\\udce9\n" in err
    assert b"Traceback" not in err
    (ready.folder / folder / "scene.toml").write_bytes(ready.scene.read_bytes())
    (ready.folder / folder / "oboe.wav").write_bytes((ready.folder / "oboe.wav").read_bytes())
    report = ready.folder / folder / "out" / "report.json"
    with pytest.raises(SystemExit) as end:
        main(["render", f"{folder}/scene.toml", "--out", f"{folder}/out"])
    assert end.value.code == 0
    assert json.loads(report.read_text(encoding="utf-8"))["scene"] == f"{folder}/scene.toml"


def test_the_schema_is_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "schema")
    schema = json.loads(out)
    assert code == 0
    assert {"hall", "seats", "seatings", "sections"} <= schema["properties"].keys()


@pytest.mark.parametrize(
    ("command", "heads", "row"),
    [
        ("surfaces", ["surface", *BAND_NAMES], "hard_surface"),
        ("instruments", ["instrument", "section", "height", "m"], "oboe"),
        ("halls", ["hall", "size", "m", "volume", "m3", "T", "s", *BAND_NAMES], "chamber-hall"),
    ],
)
def test_tables_of_what_is_known(
    capsys: pytest.CaptureFixture[str], command: str, heads: list[str], row: str
) -> None:
    code, out, _ = run(capsys, command)
    lines = [line.split() for line in out.splitlines()]
    assert code == 0
    assert lines[0][: len(heads)] == heads
    assert row in [line[0] for line in lines]
    assert len(lines) > (8 if command == "halls" else 20)


def test_radiation_is_drawn_one_file_a_family(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, out, _ = run(capsys, "instruments", "--polar", str(tmp_path / "drawn"))
    files = sorted((tmp_path / "drawn").iterdir())
    assert code == 0
    assert sorted(out.splitlines()) == [str(file) for file in files]
    assert [file.stem for file in files] == [
        "brass", "choir", "keyboards", "percussion", "strings", "woodwinds",
    ]  # fmt: skip
    assert all(file.read_text(encoding="utf-8").endswith("</svg>\n") for file in files)


def test_a_folder_that_cannot_be_made_is_a_disk_error(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "drawn").write_text("a file")
    code, _, told = run(capsys, "instruments", "--polar", str(tmp_path / "drawn"))
    assert code == 4
    assert "drawn: cannot be made" in told


def test_halls_as_json_have_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "halls", "--json")
    halls = json.loads(out)
    assert code == 0
    assert len(out.splitlines()) == len(halls) + 2
    assert {hall["name"] for hall in halls} >= {"scoring-stage", "church", "open-shell"}
    (studio,) = (hall for hall in halls if hall["name"] == "studio")
    assert studio["volume"] == studio["width"] * studio["depth"] * studio["height"]
    assert list(studio["reverberation_bands"]) == list(BAND_NAMES)
    middle = sum(studio["reverberation_bands"][band] for band in ("500", "1k")) / 2
    assert studio["reverberation"] == pytest.approx(middle, abs=1e-3)


@pytest.mark.parametrize("command", ["render", "schema", "surfaces", "instruments", "halls"])
def test_every_command_has_help(capsys: pytest.CaptureFixture[str], command: str) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    assert command in out
    assert run(capsys, command, "-h")[0] == 0


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "--version")[:2] == (0, f"seatwright {seatwright.__version__}\n")


def test_the_bar_is_for_terminals_only(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with progress_bar() as progress:
        progress("rendering", 0.5)
    assert capsys.readouterr() == ("", "")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    with progress_bar() as progress:
        progress("rendering", 0.5)
        progress("writing", 1.0)
    told = capsys.readouterr()
    assert told.out == ""
    assert "writing" in told.err
