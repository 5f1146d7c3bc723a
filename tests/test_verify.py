"""A folder read again: what holds, and every way in which it does not."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from seatwright.cli import main
from seatwright.compare import CompareRequest, compare
from seatwright.errors import DiskError, RenderError, SceneError
from seatwright.verify import verify
from seatwright.views.verified import Verified


@pytest.fixture
def copied(quartet: Any, tmp_path: Path) -> Callable[..., Path]:
    """A render of four seats in a folder of its own; made once for each way to write it."""

    def copy(**request: Any) -> Path:
        name = " ".join(f"{key} {value}" for key, value in request.items()) or "plain"
        if not (quartet.folder / name).exists():
            quartet.render(name, **request)
        return Path(shutil.copytree(quartet.folder / name, tmp_path / "out"))

    return copy


def faults(folder: Path) -> list[str]:
    return [str(fault) for fault in verify(folder).faults]


def change_report(folder: Path, change: Callable[[dict[str, Any]], Any]) -> None:
    facts = json.loads((folder / "report.json").read_text())
    change(facts)
    (folder / "report.json").write_text(json.dumps(facts))


def sign(folder: Path, file: str) -> None:
    """Let the report list a file as it is now."""
    import hashlib

    digest = hashlib.sha256((folder / file).read_bytes()).hexdigest()

    def change(facts: dict[str, Any]) -> None:
        for row in facts["outputs"]:
            if row["file"] == file:
                row["sha256"] = digest

    change_report(folder, change)


EVERYTHING: dict[str, Any] = {"stems": True, "perspectives": True}


@pytest.mark.parametrize(
    "request_",
    [
        {},
        {"depth": "16", **EVERYTHING},
        {"depth": "24", **EVERYTHING},
        {"depth": "float", **EVERYTHING},
        {"kind": "flac", "depth": "16", **EVERYTHING},
        {"kind": "flac", "depth": "24"},
        {"depth": "float", "trim_db": -7.3, "start": 0.5, "stop": 0.9, **EVERYTHING},
        {"only": ("oboe",)},
    ],
)
def test_what_a_render_writes_holds(copied: Any, request_: dict[str, Any]) -> None:
    found = verify(copied(**request_))
    assert found.holds and found.faults == () and found.warnings == ()
    assert all(row.holds for row in found.files) and len(found.files) >= 2
    kinds = [(row.whole, row.kind) for row in found.sums]
    assert kinds[0] == (found.files[0].file, "sections")
    assert len(kinds) == (5 if "stems" in request_ else 1)
    for row in found.sums:
        assert row.largest <= row.allowed < 1e-3
    assert any(row.largest > row.allowed / 200 for row in found.sums) or len(kinds) == 1


@pytest.mark.parametrize("depth", ["16", "24", "float"])
@pytest.mark.parametrize(
    ("file", "sum_"),
    [
        ("sections/winds.wav", ("mix.wav", "sections")),
        ("stems/oboe.wav", ("sections/winds.wav", "stems")),
        ("perspectives/tree.wav", ("mix.wav", "perspectives")),
    ],
)
def test_a_few_steps_in_one_sample_of_a_signed_file_are_found(
    copied: Any, depth: str, file: str, sum_: tuple[str, str]
) -> None:
    folder = copied(depth=depth, **EVERYTHING)
    before = verify(folder)
    samples, rate = soundfile.read(folder / file, dtype="float64")
    (row,) = (r for r in before.sums if (r.whole, r.kind) == sum_)
    samples[9_000, 1] += 2.0 * row.allowed + 4.0 * {"16": 2**-15}.get(depth, 2**-23)
    info = soundfile.info(folder / file)
    soundfile.write(folder / file, samples, rate, info.subtype)
    (told,) = faults(folder)
    assert f"{file}: changed since it was written: found SHA-256" in told
    sign(folder, file)
    told = "\n".join(faults(folder))
    assert f"apart from the sum of its {row.parts} {row.kind} at 0.562 s" in told
    assert "which rounding explains" in told


def damage(folder: Path, how: str) -> None:
    mix = folder / "mix.wav"
    samples, rate = soundfile.read(mix, dtype="float64")
    if how == "gone":
        mix.unlink()
    elif how == "cut":
        os.truncate(mix, mix.stat().st_size - 999)
    elif how == "bit":
        data = bytearray(mix.read_bytes())
        data[5_000] ^= 1
        mix.write_bytes(data)
    elif how == "shorter":
        soundfile.write(mix, samples[:-7], rate, "PCM_24")
    elif how == "rate":
        soundfile.write(mix, samples, 2 * rate, "PCM_24")
    elif how == "encoding":
        soundfile.write(mix, samples, rate, "PCM_16")
    elif how == "mono":
        soundfile.write(mix, samples[:, 0], rate, "PCM_24")
    elif how == "kind":
        soundfile.write(mix, samples, rate, "PCM_24", format="FLAC")
    elif how == "folder":
        mix.unlink()
        mix.mkdir()
    elif how == "pipe":
        mix.unlink()
        os.mkfifo(mix)
    elif how == "page":
        os.truncate(folder / "report.html", 5_000)
    elif how == "text":
        (folder / "report.txt").unlink()


@pytest.mark.parametrize(
    ("how", "file", "words"),
    [
        ("gone", "mix.wav", ["found no such file, wanted an output"]),
        ("cut", "mix.wav", ["SHA-256", "truncated: found 2.552 s"]),
        ("bit", "mix.wav", ["found SHA-256", ", wanted "]),
        ("shorter", "mix.wav", ["frames, wanted", "SHA-256"]),
        ("rate", "mix.wav", ["found 32000 Hz, wanted 16000 Hz", "SHA-256"]),
        ("encoding", "mix.wav", ["found PCM_16, wanted PCM_24", "SHA-256"]),
        ("mono", "mix.wav", ["found 1 channels, wanted 2 channels", "SHA-256"]),
        ("kind", "mix.wav", ["found FLAC, wanted WAV", "SHA-256"]),
        ("folder", "mix.wav", ["found a folder"]),
        ("pipe", "mix.wav", ["found a pipe"]),
        ("page", "report.html", ['found another end, wanted "</html>"']),
        ("text", "report.txt", ["found no such file, wanted the report"]),
    ],
)
def test_every_damage_is_named(copied: Any, how: str, file: str, words: list[str]) -> None:
    folder = copied()
    damage(folder, how)
    told = faults(folder)
    assert all(line.startswith(str(folder / file)) for line in told)
    for word in words:
        assert any(word in line for line in told), told
    assert not verify(folder).holds


def test_all_faults_come_at_once(copied: Any) -> None:
    folder = copied()
    (folder / "sections" / "winds.wav").unlink()
    os.truncate(folder / "sections" / "strings.wav", 3_000)
    (folder / "report.txt").write_text("")
    assert {line.split(":")[0] for line in faults(folder)} == {
        str(folder / name) for name in ("sections/winds.wav", "sections/strings.wav", "report.txt")
    }


def test_what_was_to_go_and_is_still_there(copied: Any) -> None:
    folder = copied()
    old = folder / "sections" / "old.wav"
    shutil.copy(folder / "sections" / "winds.wav", old)
    import hashlib

    digest = hashlib.sha256(old.read_bytes()).hexdigest()
    row = {"file": "sections/old.wav", "sha256": digest}
    change_report(folder, lambda facts: facts.update(removed=[row]))
    (told,) = faults(folder)
    assert told.startswith(f"{old}: found an output of the render before, wanted it removed")
    old.write_bytes(b"something of mine")
    found = verify(folder)
    assert found.holds
    assert [str(fault) for fault in found.warnings] == [f"{old}: stands here and in no report"]


def test_strangers_and_temporaries_are_named_and_no_fault(copied: Any) -> None:
    folder = copied()
    for name in ("notes.txt", "sections/mine.wav", ".seatwright-0123456789abcdef.part"):
        (folder / name).write_text("x")
    (folder / "masters").mkdir()
    found = verify(folder)
    assert found.holds
    told = {Path(fault.file).relative_to(folder).as_posix(): fault.what for fault in found.warnings}
    assert set(told) == {
        "notes.txt", "sections/mine.wav", "masters", ".seatwright-0123456789abcdef.part",
    }  # fmt: skip
    assert told["notes.txt"] == told["masters"] == "stands here and in no report"
    assert "cut off" in told[".seatwright-0123456789abcdef.part"]


def test_inputs_that_changed_or_went_are_warned_of(stage: Any) -> None:
    for number, name in enumerate(("oboe", "flute")):
        stage.stem(f"{name}.wav", stage.noise(number, 0.2))
    seat = '[seats.{0}]\nstem = "{0}.wav"\nx = {1}\ny = 2\n'
    stage.write(seat.format("oboe", 1) + seat.format("flute", -1))
    stage.render()
    assert verify(stage.out).warnings == ()
    stage.stem("oboe.wav", stage.noise(7, 0.2))
    (stage.folder / "flute.wav").unlink()
    with stage.scene.open("a") as file:
        file.write("# a word\n")
    found = verify(stage.out)
    assert found.holds
    told = {Path(fault.file).name: fault.what for fault in found.warnings}
    assert told["oboe.wav"].startswith("has changed since it was rendered")
    assert told["scene.toml"].startswith("has changed since it was rendered")
    assert told["flute.wav"] == "an input of this render is not found here any more"


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda f: f.update(report_format=2), "report_format"),
        (lambda f: f.update(outputs=[]), "no mix"),
        (lambda f: f["outputs"][0].update(file="../mix.wav"), "leads elsewhere"),
        (lambda f: f["outputs"][1].update(file="/etc/passwd"), "leads elsewhere"),
        (lambda f: f["outputs"][1].update(file="sections/../../x.wav"), "leads elsewhere"),
        (lambda f: f["outputs"][1].update(file="sections/x.mp3"), "is no sections in wav"),
        (lambda f: f["outputs"][1].update(file="stems/x.wav"), "is no sections in wav"),
        (lambda f: f.update(removed=[{"file": "../x", "sha256": ""}]), "leads elsewhere"),
        (lambda f: f["outputs"].append(f["outputs"][0]), "it lists mix.wav twice"),
        (lambda f: f["stems"].extend([{"file": "a", "sha256": s} for s in "xyz"]), "a 3 times"),
        (lambda f: f.update(removed=[{"file": "mix.wav", "sha256": ""}] * 2), "mix.wav twice"),
        (lambda f: f.update(frames=-1), "whole number"),
        (lambda f: f.update(rate="48k"), "whole number"),
        (lambda f: f.update(encoding="mp3"), "unknown encoding mp3"),
        (lambda f: f.pop("stems"), "no stems"),
        (lambda f: f.update(scene=3), "3 where a text belongs"),
    ],
)
def test_a_damaged_report_says_why(copied: Any, change: Any, word: str) -> None:
    folder = copied()
    change_report(folder, change)
    with pytest.raises(RenderError, match="found a damaged report") as caught:
        verify(folder)
    assert word in str(caught.value)


@pytest.mark.parametrize("text", ["", "{", "[" * 100_000, "\udcff"])
def test_a_report_that_is_no_json(copied: Any, text: str) -> None:
    folder = copied()
    (folder / "report.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(RenderError, match="found a damaged report"):
        verify(folder)


def test_folders_that_are_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(SceneError, match=r"found neither report\.json nor trial\.json"):
        verify(tmp_path)
    with pytest.raises(SceneError, match="found no such folder"):
        verify(tmp_path / "gone")
    (tmp_path / "report.json").mkdir()
    with pytest.raises(DiskError, match=r"report\.json: cannot be read: Is a directory"):
        verify(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_as_report_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "report.json")
    with pytest.raises(DiskError, match=r"report\.json: cannot be read: found a pipe"):
        verify(tmp_path)


def test_a_linked_folder_of_outputs_is_not_listed(copied: Any, tmp_path: Path) -> None:
    folder, private = copied(), tmp_path / "private"
    private.mkdir()
    (private / "diary.txt").write_text("x")
    (folder / "stems").symlink_to(private)
    (told,) = verify(folder).warnings
    assert told.file.endswith("stems") and "is a link" in told.what


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(arguments))
    told = capsys.readouterr()
    return int(end.value.code or 0), told.out, told.err


def test_the_command(copied: Any, capsys: pytest.CaptureFixture[str]) -> None:
    folder = copied()
    code, out, _ = run(capsys, "verify", str(folder))
    assert code == 0 and "All 4 files hold." in out
    assert "mix.wav  3 sections" in out
    (folder / "mix.wav").unlink()
    code, out, _ = run(capsys, "verify", str(folder))
    assert code == 1 and "mix.wav               FAILS" in out
    assert "1 fault: this is not what was written." in out
    code, out, _ = run(capsys, "verify", str(folder), "--json")
    facts = json.loads(out)
    assert (code, facts["holds"], facts["kind"]) == (1, False, "render")
    assert facts["faults"][0]["file"] == str(folder / "mix.wav")
    assert [row["holds"] for row in facts["files"]] == [False, True, True, True]
    assert run(capsys, "verify", str(folder / "gone"))[0] == 2
    (folder / "report.json").unlink()
    (folder / "report.json").mkdir()
    assert run(capsys, "verify", str(folder))[0] == 4


def test_nothing_is_changed(copied: Any) -> None:
    folder = copied()
    before = {path: path.stat().st_mtime_ns for path in sorted(folder.rglob("*"))}
    verify(folder)
    assert before == {path: path.stat().st_mtime_ns for path in sorted(folder.rglob("*"))}


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("compared")
    rng = np.random.default_rng(1)
    samples = rng.uniform(-0.05, 0.05, 16_000)
    soundfile.write(folder / "oboe.wav", samples, 16_000, "PCM_24")
    (folder / "scene.toml").write_text(
        "[hall]\nsize = { width = 8, depth = 10, height = 5 }\nreverberation = 0.4\n"
        '[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 2\n'
        "[seatings.left.oboe]\nx = -1\ny = 2\n"
    )
    out = folder / "out"
    compare((str(folder / "scene.toml"), "written", "left"), out, CompareRequest(twin=True))
    return out


def verified_copy(compared: Path, tmp_path: Path, harm: Callable[[Path], Any]) -> Verified:
    folder = Path(shutil.copytree(compared, tmp_path / "out"))
    harm(folder)
    return verify(folder)


def test_a_comparison_holds_with_its_renders(compared: Path) -> None:
    found = verify(compared)
    assert (found.kind, found.holds, found.faults) == ("comparison", True, ())
    assert len([row for row in found.files if row.file.startswith("matched/")]) == 2
    assert len([row for row in found.files if row.file.startswith("renders/")]) >= 4
    assert {row.whole for row in found.sums} >= {
        "renders/as written/mix.wav", "renders/left/mix.wav"
    }  # fmt: skip


def test_an_input_that_changed_is_told_once_for_all_renders_of_a_comparison(
    compared: Path,
) -> None:
    scene = compared.parent / "scene.toml"
    text = scene.read_text()
    scene.write_text(f"{text}# said later\n")
    try:
        (told,) = verify(compared).warnings
    finally:
        scene.write_text(text)
    assert "has changed since it was rendered" in told.what


def louder(path: Path) -> None:
    samples, rate = soundfile.read(path)
    soundfile.write(path, samples * 0.9, rate, "PCM_24")


@pytest.mark.parametrize(
    ("harm", "word"),
    [
        (lambda f: (f / "matched" / "left.flac").unlink(), "left.flac: found no such file"),
        (lambda f: louder(f / "matched" / "left.wav"), "samples"),
        (lambda f: os.truncate(f / "matched" / "left.wav", 9_000), "left.wav"),
        (lambda f: (f / "audition.html").unlink(), "wanted the page of the trial"),
        (lambda f: (f / "audition.html").write_text("</html>"), "another trial's page"),
        (lambda f: next(f.glob("renders/*/mix.wav")).unlink(), "mix.wav: found no such file"),
    ],
)
def test_a_comparison_that_was_damaged(
    compared: Path, tmp_path: Path, harm: Callable[[Path], Any], word: str
) -> None:
    found = verified_copy(compared, tmp_path, harm)
    assert not found.holds
    assert word in "\n".join(map(str, found.faults))


def test_a_manifest_changed_by_hand(compared: Path, tmp_path: Path) -> None:
    def harm(folder: Path) -> None:
        path = folder / "trial.json"
        path.write_text(path.read_text().replace('"title": ""', '"title": "x"'))

    with pytest.raises(RenderError, match="not that of the manifest's contents"):
        verified_copy(compared, tmp_path, harm)


def linked_away(folder: Path) -> None:
    shutil.move(folder / "renders" / "left", folder.parent / "elsewhere")
    (folder / "renders" / "left").symlink_to(folder.parent / "elsewhere")


def all_linked_away(folder: Path) -> None:
    shutil.move(folder / "renders", folder.parent / "elsewhere")
    (folder / "renders").symlink_to(folder.parent / "elsewhere")


@pytest.mark.parametrize(
    ("harm", "named"),
    [
        (lambda f: shutil.rmtree(f / "renders"), '"as written", "left"'),
        (all_linked_away, '"as written", "left"'),
        (linked_away, 'versions "left":'),
    ],
)
def test_renders_that_are_not_there_are_warned_of(
    compared: Path, tmp_path: Path, harm: Callable[[Path], Any], named: str
) -> None:
    found = verified_copy(compared, tmp_path, harm)
    assert found.holds and not any("renders/left" in row.file for row in found.files)
    (told,) = found.warnings
    assert "found no renders of the versions" in told.what and named in told.what


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_as_the_report_of_one_render(compared: Path, tmp_path: Path) -> None:
    def harm(folder: Path) -> None:
        report = folder / "renders" / "left" / "report.json"
        report.unlink()
        os.mkfifo(report)

    with pytest.raises(DiskError, match="cannot be read: found a pipe"):
        verified_copy(compared, tmp_path, harm)
