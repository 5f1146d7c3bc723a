"""The folder of a render: complete or as it was before."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from seatwright.disk.bounce_folder import BounceFolder, BounceFormat, moved_broadcast
from seatwright.disk.bounces import output_name
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.raw_blocks import RawBlocks
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
        bounces = outputs.write(raw, trim_db, [].append if done is None else done.append)
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
            outputs.write(raw, -9.0, lambda _share: None)
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
