"""The folder of a render: complete or as it was before."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import warnings
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import seatwright
from seatwright.disk.bounce_folder import BounceFolder, BounceFormat, moved_broadcast
from seatwright.disk.bounces import output_name
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.raw_blocks import RawBlocks
from seatwright.disk.render_lock import LOCK_NAME
from seatwright.disk.riff import read_layout
from seatwright.errors import DiskError, RenderError, SceneError
from seatwright.stage.routing import Bus

FRAMES = 6_000
BLOCKS = np.random.default_rng(4).uniform(-0.4, 0.4, (3, 2, FRAMES)).astype(np.float32)
BUSES = (Bus("sections", "winds"), Bus("stems", "oboe"))
FORM = BounceFormat("wav", "PCM_24", 48_000, FRAMES)


def bounced(
    folder: Path,
    trim_db: float = 0.0,
    form: BounceFormat = FORM,
    buses: Iterable[Bus] = BUSES,
    inputs: Iterable[Path] = (),
    done: list[float] | None = None,
) -> list[tuple[str, str]]:
    """Write three outputs and two reports; gives file and hash of each output."""
    with BounceFolder(folder, tuple(buses), form, inputs) as outputs, RawBlocks(folder) as raw:
        for start in range(0, FRAMES, 2_500):
            raw.write(BLOCKS[:, :, start : start + 2_500])
        bounces = outputs.write(raw.read, trim_db, [].append if done is None else done.append)
        outputs.commit({"report.txt": "words\n", "report.json": "{}\n"})
    return [(bounce.file, bounce.sha256) for bounce in bounces]


def files_in(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_outputs_reports_and_nothing_else(tmp_path: Path) -> None:
    done: list[float] = []
    bounces = bounced(tmp_path / "new" / "out", done=done)
    found = files_in(tmp_path / "new" / "out")
    assert list(dict(bounces)) == ["mix.wav", "sections/winds.wav", "stems/oboe.wav"]
    assert set(found) == {*dict(bounces), "report.txt", "report.json"}
    for file, digest in bounces:
        assert hashlib.sha256(found[file]).hexdigest() == digest
    assert done == sorted(done)
    assert done[-1] == 1.0


@pytest.mark.parametrize("trim_db", [0.0, -3.5, 2.0])
def test_every_output_has_the_one_trim(tmp_path: Path, trim_db: float) -> None:
    form = BounceFormat("wav", "FLOAT", 48_000, FRAMES)
    gain = np.float32(10 ** (trim_db / 20))
    for (file, _), wanted in zip(bounced(tmp_path, trim_db, form), BLOCKS, strict=True):
        samples, _ = soundfile.read(tmp_path / file, dtype="float32")
        assert np.array_equal(samples, wanted.T * gain)


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_16_bits_are_dithered_apart_and_the_same_again(tmp_path: Path, kind: str) -> None:
    form = BounceFormat(kind, "PCM_16", 48_000, FRAMES)
    first = bounced(tmp_path / "a", 0.0, form)
    assert first == bounced(tmp_path / "b", 0.0, form)
    errors = []
    for (file, _), wanted in zip(first, BLOCKS, strict=True):
        samples, _ = soundfile.read(tmp_path / "a" / file)
        errors.append((samples - wanted.T).ravel())
        assert np.abs(errors[-1]).max() <= 1.5 * 2**-15
    likeness = np.corrcoef(errors)[np.triu_indices(3, 1)]
    assert np.abs(likeness).max() < 5 / np.sqrt(2 * FRAMES)


def test_an_older_render_is_replaced_as_a_whole(tmp_path: Path) -> None:
    bounced(tmp_path)
    before = files_in(tmp_path)
    bounced(tmp_path, trim_db=-6.0)
    after = files_in(tmp_path)
    assert before.keys() == after.keys()
    assert before["mix.wav"] != after["mix.wav"]


def rendered(folder: Path, buses: Iterable[Bus], trim_db: float = 0.0, kind: str = "wav") -> None:
    """Write outputs as a render does: with a report that lists them and what they replace."""
    form = BounceFormat(kind, "PCM_24", 48_000, FRAMES)
    with BounceFolder(folder, tuple(buses), form, ()) as outputs, RawBlocks(folder) as raw:
        raw.write(BLOCKS)
        bounces = outputs.write(raw.read, trim_db, lambda _share: None)
        facts: dict[str, Any] = {"report_format": 1}
        facts["outputs"] = [{"file": one.file, "sha256": one.sha256} for one in bounces]
        facts["removed"] = [
            {"file": one.file, "sha256": one.sha256} for one in outputs.superseded().ours
        ]
        outputs.commit({"report.txt": "words\n", "report.json": json.dumps(facts)})


def listed(folder: Path) -> dict[str, str]:
    rows = json.loads((folder / "report.json").read_text())["outputs"]
    return {row["file"]: row["sha256"] for row in rows}


FEWER = (Bus("sections", "strings"), Bus("sections", "brass"))


@pytest.mark.parametrize(("buses", "kind"), [(FEWER, "wav"), (BUSES, "flac"), (BUSES[:1], "wav")])
def test_no_file_of_the_render_before_stays_beside_the_new_ones(
    tmp_path: Path, buses: tuple[Bus, ...], kind: str
) -> None:
    rendered(tmp_path, BUSES)
    (tmp_path / "sections" / "mine.txt").write_text("words")
    rendered(tmp_path, buses, kind=kind)
    wanted = {*listed(tmp_path), "report.txt", "report.json", "sections/mine.txt"}
    assert set(files_in(tmp_path)) == wanted
    assert (tmp_path / "stems").exists() == any(bus.kind == "stems" for bus in buses)


def killed_at(step: int, folder: Path) -> int:
    """Render into a folder in a child that ends, uncleaned, before a step; gives its exit code."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of forking: this child only writes files
        child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    left = [step]

    def counted(method: Any) -> Any:
        def call(*arguments: Any, **options: Any) -> Any:
            left[0] -= 1
            return os._exit(9) if left[0] < 0 else method(*arguments, **options)

        return call

    try:
        for name in ("replace", "unlink", "rmdir"):
            setattr(Path, name, counted(getattr(Path, name)))
        os.link = counted(os.link)
        rendered(folder, FEWER, -3.0)
        os._exit(0)
    finally:
        os._exit(1)


def test_whenever_it_is_killed_all_that_the_report_lists_is_there(tmp_path: Path) -> None:
    """And the next render leaves nothing of either: no temporary, no file of the first."""
    rendered(tmp_path / "first", BUSES)
    rendered(tmp_path / "wanted", FEWER, -3.0)
    seen = set()
    for step in range(60):
        folder = tmp_path / f"killed {step}"
        shutil.copytree(tmp_path / "first", folder)
        ended = killed_at(step, folder)
        files = files_in(folder)
        assert listed(folder).keys() <= files.keys()
        seen.add(tuple(sorted(name for name in files if ".seatwright" not in name)))
        if ended == 0:
            break
        assert ended == 9
        rendered(folder, FEWER, -3.0)
        assert listed(folder) == listed(tmp_path / "wanted")
        assert set(files_in(folder)) == set(files_in(tmp_path / "wanted"))
    assert ended == 0
    assert len(seen) >= 5


def test_what_dead_renders_left_goes_but_not_from_under_a_living_one(tmp_path: Path) -> None:
    for name in (".seatwright-0123456789abcdef.raw", "sections/.seatwright-0123456789abcdef.part"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(bytes(9))
    with BounceFolder(tmp_path, BUSES, FORM, ()) as outputs, RawBlocks(tmp_path) as raw:
        raw.write(BLOCKS)
        outputs.write(raw.read, 0.0, lambda _share: None)
        before = files_in(tmp_path)
        assert len([name for name in before if name.endswith((".raw", ".part"))]) == 4
        with (
            pytest.raises(DiskError, match=rf"another render \(process {os.getpid()}, since 20"),
            BounceFolder(tmp_path, BUSES, FORM, ()),
        ):
            pass
        assert files_in(tmp_path) == before
    assert files_in(tmp_path) == {}


def test_an_interrupt_before_a_temporary_has_its_owner(tmp_path: Path) -> None:
    """Between making the file and entering its context."""
    with pytest.raises(KeyboardInterrupt), BounceFolder(tmp_path / "out", BUSES, FORM, ()):
        raw = RawBlocks(tmp_path / "out")
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []
    with raw:  # closes it
        pass


def refused_at(step: int, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Let the disk refuse one renaming or link, counted from 0; gives how many there were."""
    calls = [0]

    def counted(method: Any) -> Any:
        def call(*arguments: Any, **options: Any) -> Any:
            calls[0] += 1
            if calls[0] - 1 == step:
                raise OSError(5, "Input/output error")
            return method(*arguments, **options)

        return call

    monkeypatch.setattr(Path, "replace", counted(Path.replace))
    monkeypatch.setattr(Path, "unlink", counted(Path.unlink))
    return calls


def test_a_disk_that_refuses_to_rename_leaves_all_old_or_all_new_outputs(tmp_path: Path) -> None:
    rendered(tmp_path / "first", BUSES)
    rendered(tmp_path / "wanted", FEWER, -3.0)
    first, wanted = files_in(tmp_path / "first"), listed(tmp_path / "wanted")
    seen = {True: 0, False: 0}
    for step in range(60):
        folder = tmp_path / f"refused {step}"
        shutil.copytree(tmp_path / "first", folder)
        with pytest.MonkeyPatch.context() as patched:
            calls = refused_at(step, patched)
            with suppress(DiskError):
                rendered(folder, FEWER, -3.0)
        if calls[0] <= step:
            break
        files = files_in(folder)
        files.pop(LOCK_NAME, None)  # holds nothing without its process
        old = files == first
        seen[old] += 1
        assert old or listed(folder) == wanted
        assert old or set(files) == set(files_in(tmp_path / "wanted"))
    assert calls[0] <= step
    assert seen[True] >= 8


@pytest.mark.parametrize("there", ["", "out", "out/sections"])
def test_a_render_that_fails_leaves_no_folder_of_its_own(tmp_path: Path, there: str) -> None:
    (tmp_path / there).mkdir(parents=True, exist_ok=True)
    with pytest.raises(RenderError):
        bounced(tmp_path / "out", trim_db=20.0)
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*")}
    assert left == ({"out", there} if there else set())


def test_a_name_the_file_system_cannot_write(tmp_path: Path) -> None:
    """In a child whose file system encoding is ASCII."""
    code = (
        "import sys\nfrom pathlib import Path\n"
        "from seatwright.disk.bounce_folder import BounceFolder, BounceFormat\n"
        "from seatwright.errors import DiskError\nfrom seatwright.stage.routing import Bus\n"
        "try:\n"
        "    BounceFolder(Path(sys.argv[1]), [Bus('stems', chr(0x1f3bb))], "
        "BounceFormat('wav', 'PCM_24', 48000, 9), [])\n"
        "except DiskError as error:\n    print(ascii(str(error)))\n"
    )
    environment = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    source = str(Path(seatwright.__file__).parents[1])
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "out")],
        capture_output=True, text=True, timeout=60,
        env={**os.environ, **environment, "PYTHONPATH": source},
    )  # fmt: skip
    assert done.stderr == ""
    assert "stems/\\U0001f3bb.wav: this name cannot be written" in done.stdout
    assert "encoding ascii" in done.stdout
    assert not (tmp_path / "out").exists()


def test_over_full_scale_leaves_the_older_render(tmp_path: Path) -> None:
    bounced(tmp_path)
    before = files_in(tmp_path)
    with pytest.raises(RenderError, match=r"samples over full scale, peak \+\d+\.\d+ dBFS"):
        bounced(tmp_path, trim_db=20.0)
    assert files_in(tmp_path) == before


@pytest.mark.parametrize("moment", ["before writing", "before commit"])
def test_an_interrupt_leaves_the_older_render(tmp_path: Path, moment: str) -> None:
    bounced(tmp_path)
    before = files_in(tmp_path)
    with (
        pytest.raises(KeyboardInterrupt),
        BounceFolder(tmp_path, BUSES, FORM, ()) as outputs,
        RawBlocks(tmp_path) as raw,
    ):
        raw.write(BLOCKS)
        if moment == "before commit":
            outputs.write(raw.read, -9.0, lambda _share: None)
        raise KeyboardInterrupt
    assert files_in(tmp_path) == before


@pytest.mark.parametrize(
    ("first", "second"),
    [("Horns", "horns"), ("caf\u00e9", "cafe\u0301"), ("a:b", "a?b"), ("x" * 200, "x" * 201)],
)
def test_names_that_would_be_one_file(tmp_path: Path, first: str, second: str) -> None:
    buses = (Bus("sections", first), Bus("sections", second), Bus("stems", first))
    with pytest.raises(SceneError, match="whose bounces would have one file name") as caught:
        bounced(tmp_path / "out", buses=buses)
    (fault,) = caught.value.faults
    assert f'"{first}" and "{second}"' in fault.what
    assert not (tmp_path / "out").exists()


def test_one_name_may_be_a_section_and_a_stem(tmp_path: Path) -> None:
    buses = (Bus("sections", "harp"), Bus("stems", "harp"))
    files = [file for file, _ in bounced(tmp_path, buses=buses)]
    assert files == ["mix.wav", "sections/harp.wav", "stems/harp.wav"]


@pytest.mark.parametrize("name", ["..", "CON", "a/b", "-dash", "Fl\u00f6te 1.", ".hidden"])
def test_names_stay_inside_the_folder(tmp_path: Path, name: str) -> None:
    bounced(tmp_path / "out", buses=(Bus("sections", name), Bus("stems", "a")))
    assert (tmp_path / "out" / "sections" / f"{output_name(name)}.wav").is_file()
    assert {path.name for path in tmp_path.iterdir()} == {"out"}


@pytest.mark.parametrize("how", ["same", "hard link", "symbolic link"])
def test_inputs_are_never_overwritten(tmp_path: Path, how: str) -> None:
    stem, target = tmp_path / "mix.wav", tmp_path / "out" / "mix.wav"
    stem.write_bytes(b"music")
    target.parent.mkdir()
    if how == "same":
        target = stem
    elif how == "hard link":
        os.link(stem, target)
    else:
        target.symlink_to(stem)
    with pytest.raises(SceneError, match="would overwrite the input") as caught:
        bounced(target.parent, inputs=[stem])
    assert caught.value.faults[0].hint == "choose another folder with --out"
    assert stem.read_bytes() == b"music"
    with pytest.raises(SceneError, match=r"report\.json.*would overwrite the input"):
        (target.parent / "report.json").write_text("mine")
        bounced(target.parent, inputs=[target.parent / "report.json"])


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(DiskError, match="is a file, wanted a folder") as caught:
        bounced(tmp_path / "out")
    assert caught.value.faults[0].file == str(tmp_path / "out")


def test_a_file_in_the_place_of_a_folder_of_outputs_is_named(tmp_path: Path) -> None:
    (tmp_path / "sections").write_text("a file")
    with pytest.raises(DiskError, match=r"sections: is a file, wanted a folder"):
        bounced(tmp_path)
    assert files_in(tmp_path) == {"sections": b"a file"}


def test_a_folder_in_the_place_of_an_output(tmp_path: Path) -> None:
    (tmp_path / "mix.wav").mkdir()
    with pytest.raises(DiskError, match=r"mix\.wav: cannot be written: a folder has this name"):
        bounced(tmp_path)
    assert files_in(tmp_path) == {}


def test_a_folder_in_the_place_of_the_report(tmp_path: Path) -> None:
    (tmp_path / "report.json").mkdir()
    with pytest.raises(DiskError, match=r"report\.json: cannot be written"):
        bounced(tmp_path)
    assert not any(".seatwright-" in name for name in files_in(tmp_path))


def test_broadcast_extension_of_the_stems_is_carried_without_what_is_theirs_alone(
    tmp_path: Path,
) -> None:
    theirs = Broadcast(
        description="Harbour", originator="DAW", time_reference=5, version=2, remainder=b"\1" * 254
    )
    moved = moved_broadcast(theirs, 48_000)
    form = BounceFormat("wav", "PCM_24", 48_000, FRAMES, moved)
    for file, _ in bounced(tmp_path, form=form):
        found = read_layout(tmp_path / file).broadcast
        assert found is not None
        assert (found.description, found.originator) == ("Harbour", "DAW")
        assert (found.time_reference, found.version) == (48_000, 1)
        assert found.remainder == bytes(254)
    assert moved_broadcast(None, 48_000) is None
