"""Scene files: what is read, what is refused before it is opened, and what no damage can cause."""

from __future__ import annotations

import hashlib
import os
import socket
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatwright.disk.scene_file import ReadScene, read_scene
from seatwright.errors import Fault, SceneError

SMALLEST = Path(__file__).parents[2] / "scenes" / "smallest.toml"
SEAT = '[seats.oboe]\nstem = "oboe.wav"\nx = 1\ny = 5\n'
FULL = """\
format = 1
title = "Tide — 1"
stems = "stems"
rate = 48000
[hall]
size = { width = 24, depth = 38.5, height = 15 }
podium = 11
reverberation = 1.9
[hall.surfaces]
floor = "stage_and_audience"
rear = { absorption = [0.1, 0.1, 0.2, 0.2, 0.3, 0.3], scattering = 0.3 }
[microphones.tree]
width = 2.2
pattern = "subcardioid"
[sections.strings]
perspectives = { tree = 0, outriggers = -5.5, close = -11 }
gain = 0.5
[seats.violas]
stem = ["violas.L.wav", "violas.R.wav"]
instrument = "viola"
bearing = 23
distance = 5.1
[seats."harp 1"]
stem = "harp.flac"
x = -4
y = 3.5
mute = false
treatment = "blended"
[seatings.wide.violas]
bearing = -24
distance = 5.2
"""


def written(folder: Path, text: str | bytes, name: str = "scene.toml") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def refused(path: Path | str, **options: bool) -> tuple[Fault, ...]:
    with pytest.raises(SceneError) as raised:
        read_scene(path, **options)
    assert raised.value.exit_code == 2
    return raised.value.faults


def test_smallest_scene_is_a_dozen_lines_and_reads_without_a_warning() -> None:
    read = read_scene(SMALLEST)
    assert len(SMALLEST.read_text().splitlines()) <= 16
    assert set(read.scene.seats) == {"oboe", "harp"}
    assert read.warnings == ()
    assert read.folder == SMALLEST.parent
    assert read.stem_folder == SMALLEST.parents[1] / "demo_audio" / "ferry"


def test_everything_written_arrives(tmp_path: Path) -> None:
    read = read_scene(written(tmp_path, FULL))
    scene = read.scene
    assert (scene.title, scene.rate, scene.hall.size.depth) == ("Tide — 1", 48000, 38.5)
    assert scene.sections["strings"].perspectives.outriggers == -5.5
    assert scene.seats["violas"].stems == ("violas.L.wav", "violas.R.wav")
    assert scene.seatings["wide"]["violas"].bearing == -24
    assert read.stem_folder == tmp_path / "stems"
    assert read.content_hash == hashlib.sha256(FULL.encode()).hexdigest()
    assert hash(read) == hash(read_scene(tmp_path / "scene.toml"))


def test_byte_order_mark_and_windows_lines_change_nothing(tmp_path: Path) -> None:
    plain = read_scene(written(tmp_path, FULL)).scene
    windows = written(tmp_path, b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    assert read_scene(windows).scene == plain


def test_faults_keep_their_lines_with_windows_lines(tmp_path: Path) -> None:
    text = (FULL + 'gain = "loud"\n').replace("\n", "\r\n")
    (fault,) = refused(written(tmp_path, text))
    assert (fault.key, fault.line) == ("seatings.wide.violas.gain", len(text.split("\r\n")) - 1)


def test_path_may_be_relative(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(tmp_path, FULL)
    monkeypatch.chdir(tmp_path)
    read = read_scene("scene.toml")
    assert (read.path, read.folder) == (Path("scene.toml"), tmp_path)


def test_located_gives_file_and_nearest_line(tmp_path: Path) -> None:
    read = read_scene(written(tmp_path, FULL))
    lines = FULL.splitlines()
    for key, text in {
        "seats.violas.stem.1": 'stem = ["violas.L.wav", "violas.R.wav"]',
        'seats."harp 1".gain': '[seats."harp 1"]',
        "hall.size.width": "size = { width = 24, depth = 38.5, height = 15 }",
        "hall.surfaces.floor": 'floor = "stage_and_audience"',
    }.items():
        fault = read.located(Fault("found it", key=key, hint="look"))
        assert fault == Fault("found it", str(read.path), lines.index(text) + 1, key, "look")
    assert read.located(Fault("found it")) == Fault("found it", str(read.path))


def test_missing_file_names_the_nearest(tmp_path: Path) -> None:
    written(tmp_path, FULL, "harbour.toml")
    (fault,) = refused(tmp_path / "harbor.toml")
    assert "found no such file, wanted a scene" in fault.what
    assert fault.hint == "nearest: harbour.toml"
    (fault,) = refused(tmp_path / "nowhere" / "harbour.toml")
    assert fault.hint == f"its folder {tmp_path / 'nowhere'} does not exist"


def test_what_is_no_file_is_refused_unopened(tmp_path: Path) -> None:
    written(tmp_path, FULL, "tide.toml")
    os.mkfifo(tmp_path / "pipe.toml")
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind(str(tmp_path / "socket.toml"))
        started = time.monotonic()
        for path in (tmp_path / "pipe.toml", tmp_path / "socket.toml", Path("/dev/zero")):
            assert "found a pipe or device, wanted a scene file" in refused(path)[0].what
    assert time.monotonic() - started < 1.0
    (fault,) = refused(tmp_path)
    assert "found a folder" in fault.what
    assert "tide.toml" in fault.hint


@pytest.mark.parametrize("name", ["sce\0ne.toml", "x" * 5000, "tide.toml/more.toml"])
def test_impossible_path_is_a_scene_error(tmp_path: Path, name: str) -> None:
    written(tmp_path, FULL, "tide.toml")
    assert "wanted a scene" in refused(tmp_path / name)[0].what


def test_link_to_itself_is_a_scene_error(tmp_path: Path) -> None:
    (tmp_path / "a.toml").symlink_to(tmp_path / "a.toml")
    assert "cannot be read" in refused(tmp_path / "a.toml")[0].what


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is unreadable to root")
def test_unreadable_file_is_a_scene_error(tmp_path: Path) -> None:
    path = written(tmp_path, FULL)
    path.chmod(0)
    assert "Permission denied" in refused(path)[0].what


def test_large_file_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, FULL + "# more\n" * 160_000)
    assert "wanted a scene of at most 1 MiB" in refused(path)[0].what


def test_every_fault_comes_at_once_in_the_order_of_the_lines(tmp_path: Path) -> None:
    bad = FULL.replace("rate = 48000", "rate = 1").replace("bearing = 23", "bearing = 500")
    bad = bad.replace("x = -4", "x = -40").replace("harp.flac", "../harp.flac")
    faults = refused(written(tmp_path, bad + "gian = 1\n"))
    assert [fault.key for fault in faults] == [
        "rate",
        "seats.violas.bearing",
        'seats."harp 1".stem',
        'seats."harp 1".x',
        "seatings.wide.violas.gian",
    ]
    assert [fault.line for fault in faults] == sorted(fault.line for fault in faults)


def test_wrong_hall_does_not_put_seats_outside(tmp_path: Path) -> None:
    wide = FULL.replace("width = 24", "widht = 90").replace("x = -4", "x = -30")
    assert [fault.key for fault in refused(written(tmp_path, wide))] == ["hall.size.widht"]


def test_seat_with_a_fault_is_not_missed_by_its_seating(tmp_path: Path) -> None:
    bad = FULL.replace("distance = 5.1", "distance = true")
    assert [fault.key for fault in refused(written(tmp_path, bad))] == ["seats.violas.distance"]


def test_newer_format_comes_first(tmp_path: Path) -> None:
    faults = refused(written(tmp_path, "weather = 1\n[seats.a]\nwind = 2\n[later]\n"))
    assert len(faults) == 4
    assert "newer" not in faults[0].hint
    newer = "weather = 1\nformat = 2\n[seats.a]\nwind = 2\n[later]\n"
    faults = refused(written(tmp_path, newer))
    assert len(faults) == 5
    assert (faults[0].key, faults[0].line) == ("format", 2)
    assert "found scene format 2, wanted 1" in faults[0].what
    (only,) = refused(written(tmp_path, FULL.replace("format = 1", "format = 2")))
    assert only.key == "format"


def test_long_list_of_faults_is_cut_and_counted(tmp_path: Path) -> None:
    faults = refused(written(tmp_path, "".join(f"a{n} = 1\n" for n in range(700)) + SEAT))
    assert len(faults) == 501
    assert faults[-1].what == "and 200 more faults"


def test_of_very_many_mistakes_the_first_are_looked_at_and_all_are_counted(tmp_path: Path) -> None:
    faults = refused(written(tmp_path, "".join(f"a{n} = 1\n" for n in range(2001)) + SEAT))
    assert faults[0].what.startswith("found 2001 mistakes, wanted none: the first 2000")
    assert [fault.key for fault in faults[1:500]] == [f"a{n}" for n in range(499)]
    assert faults[-1].what == "and 1501 more faults"


def test_more_stems_than_anybody_has_are_one_fault(tmp_path: Path) -> None:
    seat = "[seats.s{}]\nx = 1\ny = 3\nstem = [{}]\n"
    stems = ", ".join(f'"{n}.wav"' for n in range(64))
    text = "".join(seat.format(n, stems) for n in range(64))
    assert len(refused(written(tmp_path, text + "weather = 1"))) == 1  # not of their number
    (fault,) = refused(written(tmp_path, text + SEAT))
    assert (fault.what, fault.key) == ("found 4097 stems, wanted at most 4096 in a scene", "seats")


def test_seats_at_one_place_are_a_warning(tmp_path: Path) -> None:
    text = SEAT + SEAT.replace("oboe", "horn") + SEAT.replace("oboe", "harp").replace("5", "6")
    read = read_scene(written(tmp_path, text))
    (warning,) = read.warnings
    assert (warning.key, warning.line) == ("seats.horn", 5)
    assert 'found at the same place as "oboe"' in warning.what
    assert warning.file == str(read.path)


def test_one_file_on_two_seats_is_a_warning(tmp_path: Path) -> None:
    (tmp_path / "oboe.wav").touch()
    (tmp_path / "again.wav").symlink_to("oboe.wav")
    text = SEAT + '[seats.horn]\nstem = ["oboe", "again.wav"]\nx = 2\ny = 6\n'
    warnings = read_scene(written(tmp_path, text)).warnings
    assert [(w.key, w.line) for w in warnings] == [("seats.horn.stem", 6)] * 2
    assert 'found oboe.wav on seat "oboe" too' in warnings[0].what


def test_stems_folder_beside_the_scene_is_its_own_tree(tmp_path: Path) -> None:
    for folder in ("scenes", "audio", "other"):
        (tmp_path / folder).mkdir()
    text = 'stems = "../audio"\n' + SEAT
    read = read_scene(written(tmp_path / "scenes", text))
    assert read.stem_folder == tmp_path / "audio"
    (fault,) = refused(written(tmp_path / "scenes", text.replace("oboe.wav", "../other/x.wav")))
    assert (fault.key, fault.line) == ("seats.oboe.stem", 3)
    assert "--allow-outside" in fault.hint


@pytest.mark.parametrize("stem", ["/etc/x.wav", "../x.wav", "a/../../x.wav", "C:\\x.wav", "..\\x"])
def test_stem_that_leaves_needs_the_flag(tmp_path: Path, stem: str) -> None:
    path = written(tmp_path, SEAT.replace('"oboe.wav"', f"'{stem}'"))
    (fault,) = refused(path)
    assert stem in fault.what
    assert "--allow-outside" in fault.hint
    assert read_scene(path, allow_outside=True).scene.seats["oboe"].stem == stem


def test_absolute_stems_folder_needs_the_flag(tmp_path: Path) -> None:
    path = written(tmp_path, f'stems = "{tmp_path}"\n' + SEAT)
    (fault,) = refused(path)
    assert (fault.key, fault.line) == ("stems", 1)
    assert read_scene(path, allow_outside=True).stem_folder == tmp_path


def test_link_that_leaves_needs_the_flag(tmp_path: Path) -> None:
    (tmp_path / "scene").mkdir()
    (tmp_path / "far.wav").touch()
    (tmp_path / "scene" / "oboe.wav").symlink_to("../far.wav")
    path = written(tmp_path / "scene", SEAT)
    (fault,) = refused(path)
    assert (fault.key, fault.line) == ("seats.oboe.stem", 2)
    assert "found a link" in fault.what
    assert read_scene(path, allow_outside=True).allow_outside


def test_linked_stems_folder_needs_the_flag_unless_it_stays(tmp_path: Path) -> None:
    for folder in ("scene", "scene/inner", "far"):
        (tmp_path / folder).mkdir()
    (tmp_path / "scene" / "near").symlink_to("inner")
    (tmp_path / "scene" / "gone").symlink_to("../far")
    near = written(tmp_path / "scene", 'stems = "near"\n' + SEAT)
    assert read_scene(near).stem_folder == tmp_path / "scene" / "inner"
    gone = written(tmp_path / "scene", 'stems = "gone"\n' + SEAT)
    (fault,) = refused(gone)
    assert fault.key == "stems"
    assert read_scene(gone, allow_outside=True).stem_folder == tmp_path / "far"


def test_scene_in_a_linked_folder_is_not_outside(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    written(tmp_path / "real", SEAT)
    (tmp_path / "real" / "oboe.wav").touch()
    assert isinstance(read_scene(tmp_path / "link" / "scene.toml"), ReadScene)


VALUES = st.sampled_from([
    "1", "-1", "0", "-0.0", "1e-9", "1e400", "nan", "-inf", "0x7f", "1_000", "9" * 20,
    "true", "false", "1979-05-27", "07:32:00", "''", "'x'", '"\\u0000"', "'../x'",
    "[]", "[1,2]", "[[]]", '["a.L.wav"]', "{}", "{a=1}", "{absorption=2}", "{x=1,y=2}",
])  # fmt: skip
KEYS = st.sampled_from([
    "x", "y", "stem", "stems", "bearing", "width", "seats", "hall", "size", "absorption",
    "floor", "gain", "format", "close", "''", "'ö'",
])  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A valid scene after one to six accidents."""
    lines = FULL.split("\n")
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(lines) - 1))
        accident = draw(st.integers(0, 5))
        if accident == 0:
            del lines[at]
            lines = lines or [""]
        elif accident == 1:
            lines.insert(at, lines[draw(st.integers(0, len(lines) - 1))])
        elif accident == 2:
            lines[at] = lines[at].split("=")[0] + "= " + draw(VALUES)
        elif accident == 3:
            lines.insert(at, f"{draw(KEYS)} = {draw(VALUES)}")
        elif accident == 4:
            lines[at] = f"[{draw(KEYS)}.{draw(KEYS)}]"
        else:
            lines[at] = lines[at].replace(
                draw(st.sampled_from('.="[]{e1')), draw(st.text(max_size=2))
            )
    data = bytearray("\n".join(lines).encode("utf-8", "replace"))
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 3]))):
        data[draw(st.integers(0, len(data) - 1))] ^= 1 << draw(st.integers(0, 7))
    return bytes(data)


@settings(
    max_examples=400,
    deadline=1000,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=damaged())
def test_damage_gives_a_scene_or_a_scene_error(tmp_path: Path, data: bytes) -> None:
    path = written(tmp_path, data)
    try:
        read = read_scene(path)
    except SceneError as error:
        assert error.faults
        for fault in error.faults:
            assert fault.file == str(path)
            assert "Input should" not in fault.what and "wanted" in fault.what
            assert str(fault).isprintable()
    else:
        assert read.scene.seats
