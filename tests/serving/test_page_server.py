"""The page's server over real sockets: it answers its page, and nothing ends it."""

from __future__ import annotations

import json
import re
import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from http.client import HTTPConnection, IncompleteRead
from pathlib import Path
from threading import Event, Thread
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from seatwright import seat_loops
from seatwright.errors import DiskError, SceneError
from seatwright.serving.desk import Answer, Desk
from seatwright.serving.page_server import PageServer
from seatwright.stage.request import Request

HOSTILE = "</script><img src=x onerror='window.caught = 1'>\u202e"
HALL = """
[hall]
size = { width = 8, depth = 10, height = 5 }
reverberation = 0.4
"""
SEATS = f"""
[seats.oboe]
stem = "oboe.wav"
section = "winds"
bearing = -20
distance = 2.2
[seats.{json.dumps(HOSTILE.replace("/", ""))}]
stem = "violas.wav"
x = 1.2
y = 2.2
[seatings.across]
oboe = {{ bearing = 30 }}
"""


@contextmanager
def served(path: Path) -> Iterator[PageServer]:
    with closing(Desk(path, Request(start=0.0, stop=1.5))) as desk:
        server = PageServer(desk)
        thread = Thread(target=server.serve_forever, args=(0.02,), daemon=True)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            server.server_close()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageServer]:
    folder = tmp_path_factory.mktemp("served")
    rng = np.random.default_rng(1)
    for name in ("oboe", "violas"):
        soundfile.write(folder / f"{name}.wav", rng.uniform(-0.1, 0.1, 32_000), 16_000)
    (folder / "scene.toml").write_text(f'title = "Tide"\n{HALL}\n{SEATS}', encoding="utf-8")
    with served(folder / "scene.toml") as server:
        yield server


def asked(
    page: PageServer, path: str, body: Any = None, **headers: str
) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and content of an answer."""
    parts = urlsplit(page.url)
    with closing(HTTPConnection("127.0.0.1", page.guard.port, timeout=30)) as connection:
        sent = {"Host": parts.netloc, **headers}
        data = None
        if body is not None:
            data = body if isinstance(body, bytes) else json.dumps(body).encode()
            own = f"http://{parts.netloc}"
            sent = {"Origin": own, "Content-Type": "application/json", **sent}
        connection.request("GET" if body is None else "POST", parts.path + path, data, sent)
        answer = connection.getresponse()
        return answer.status, dict(answer.headers), answer.read()


def order(page: PageServer, **wanted: Any) -> tuple[int, Any]:
    status, _, content = asked(page, "order", wanted)
    return status, json.loads(content)


def test_the_page_comes_under_a_strict_policy_and_loads_its_own_parts_only(
    page: PageServer,
) -> None:
    status, headers, content = asked(page, "")
    assert status == 200
    assert headers["Content-Type"] == "text/html; charset=utf-8"
    policy = headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'; ")
    assert "unsafe" not in policy
    assert headers["Cache-Control"] == "no-store"
    text = content.decode()
    loaded = re.findall(r'(?:src|href)="([^"]+)"', text)
    assert len(loaded) > 5
    for name in loaded:
        assert name == "data:," or asked(page, name)[0] == 200
    assert not re.search(r"<script>|style=|\bon\w+=", text)
    assert "https:" not in text + asked(page, "rehearsal.js")[2].decode()


def test_requests_from_elsewhere_are_refused(page: PageServer) -> None:
    assert asked(page, "", Host="evil.example")[0] == 421
    assert asked(page, "order", {"do": "undo"}, Origin="http://evil.example")[0] == 403
    assert asked(page, "../wrong/")[0] == 404
    assert asked(page, "order", b"[" * 20_000)[0] == 413
    assert asked(page, "", Origin="null")[0] == 403
    assert asked(page, "../../etc/passwd")[0] == 404
    assert asked(page, "order", {"do": "undo"}, **{"Content-Type": "text/plain"})[0] == 415
    assert order(page, do="undo")[0] == 200


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "192.0.2.1", "localhost.example"])
def test_it_is_bound_to_this_machine_alone(page: PageServer, address: str) -> None:
    with pytest.raises(SceneError, match="wanted one of this machine"):
        PageServer(page.desk, 0, address)
    assert page.server_address[0] == "127.0.0.1"


def test_a_move_refused_for_another_seating_names_it(page: PageServer) -> None:
    order(page, do="choose", seating=None)
    status, facts = order(page, do="move", seat="oboe", x=0.0, y=8.0)
    assert status == 422
    (told,) = [one for one in facts["faults"] if "also in seating across: " in one]
    assert "outside the hall" in told and "seatings." not in told
    order(page, do="choose", seating="across")
    _, facts = order(page, do="move", seat="oboe", x=90.0, y=8.0)
    assert "outside the hall" in facts["faults"][0]
    assert "seating" not in facts["faults"][0]  # that one is seen on the page
    order(page, do="choose", seating=None)


def test_undo_and_redo_say_what_they_did(page: PageServer) -> None:
    assert order(page, do="move", seat="oboe", x=0.5, y=2.0)[0] == 200
    for what in ("undo", "redo", "undo"):
        assert order(page, do=what)[1]["went"] == {"what": "oboe moved", "seat": "oboe"}
    assert order(page, do="balance", section="winds", levels={"tree": -2.0})[0] == 200
    went = order(page, do="undo")[1]["went"]
    assert went == {"what": "balance of winds changed", "seat": ""}
    while order(page, do="undo")[1]["went"]:
        pass
    assert order(page, do="undo")[1]["went"] is None


def test_a_port_that_is_taken_is_said(page: PageServer) -> None:
    taken = PageServer.allow_reuse_address
    try:
        PageServer.allow_reuse_address = False
        with pytest.raises(DiskError, match=f"port {page.guard.port} cannot be had"):
            PageServer(page.desk, page.guard.port)
    finally:
        PageServer.allow_reuse_address = taken


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"{", "JSON"),
        (b"[]", "object"),
        (b'{"do": "dance"}', "dance"),
        (b'{"do": "move"}', "seat"),
        (b'{"do": "move", "seat": "oboe", "x": 1}', "x and y, or facing"),
        (b'{"do": "move", "seat": "oboe", "x": 1e999, "y": 0}', "finite"),
        (b'{"do": "move", "seat": "oboe", "x": "1", "y": 0}', "number"),
        (b'{"do": "move", "seat": "oboe", "x": 1, "y": 0, "z": 3}', "z"),
        (b'{"do": "move", "seat": "kazoo", "x": 1, "y": 2}', "kazoo"),
        (b'{"do": "move", "seat": "oboe", "x": 90, "y": 2}', "outside the hall"),
        (b'{"do": "balance", "section": "winds", "levels": {}}', "at least 1"),
        (b'{"do": "balance", "section": "winds", "levels": {"roof": 0}}', "roof"),
        (b'{"do": "choose", "seating": "nowhere"}', "nowhere"),
        (b'{"do": "save-as", "name": "a/b"}', "name"),
        (b"\xff\xfe", "JSON"),
    ],
)
def test_orders_that_are_wrong_are_refused_with_why_and_change_nothing(
    page: PageServer, body: bytes, why: str
) -> None:
    before = order(page, do="undo")[1]["scene"]
    status, _, content = asked(page, "order", body)
    assert status == 422
    facts = json.loads(content)
    assert why in "\n".join(facts["faults"])
    assert order(page, do="undo")[1]["scene"] == before


def whole_sound(content: bytes) -> tuple[NDArray[np.float32], int, float]:
    """The loop, its version and its peak in dB."""
    samples = np.frombuffer(content, dtype="<f4")
    return samples[:-2].reshape(2, -1), int(samples[-2]), float(samples[-1])


def test_the_sound_comes_as_raw_samples_and_changes_with_a_move(page: PageServer) -> None:
    status, headers, content = asked(page, "sound?after=0&session=1")
    assert status == 200
    assert int(headers["X-Stretch"]) == 0
    samples, version, peak = whole_sound(content)
    news = json.loads(asked(page, "news?after=-1&session=1")[2])
    assert samples.shape[1] == news["frames"]
    assert peak == pytest.approx(20 * np.log10(np.abs(samples).max()), abs=0.01)
    assert version == int(headers["X-Version"])
    assert order(page, do="move", seat="oboe", x=1.0, y=2.0)[0] == 200
    status, headers, content = asked(page, f"sound?after={version}&session=1")
    assert (status, int(headers["X-Version"])) == (200, version + 1)
    moved, newer, _ = whole_sound(content)
    assert newer == version + 1
    assert np.abs(moved - samples).max() > 1e-4
    noise = np.frombuffer(asked(page, "level")[2], dtype="<f4")
    assert np.sqrt(np.mean(noise**2)) == pytest.approx(np.sqrt(np.mean(moved**2)), rel=0.01)
    order(page, do="undo")


def test_a_playing_page_first_gets_the_stretch_its_music_is_in(page: PageServer) -> None:
    now = 1_000.0 * time.time()
    status, headers, content = asked(
        page, f"sound?after=0&session=1&place=1.2500&at={now - 500.0:.1f}"
    )
    assert status == 200
    samples = np.frombuffer(content, dtype="<f4")
    short, first = int(headers["X-Stretch"]), int(headers["X-First"])
    stretch = samples[: 2 * short].reshape(2, -1)
    whole, _, _ = whole_sound(content[8 * short :])
    frames = whole.shape[1]
    assert short == min(16_000, frames)
    late = (first - 1.75 * 16_000) % frames  # what the request took
    assert 0 <= late < 16_000
    np.testing.assert_array_equal(stretch, np.roll(whole, -first, axis=1)[:, :short])
    for odd in ("place=nan&at=1", "place=1e9&at=1", "place=-1", "place=1&at=99999999999999"):
        assert asked(page, f"sound?after=0&session=1&{odd}")[0] == 200


def test_a_move_is_heard_by_its_stretch_before_the_rest_is_rendered(
    page: PageServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, version, _ = whole_sound(asked(page, "sound?after=0&session=1")[2])
    gate, rendered = Event(), seat_loops.heard_loop

    def held(*given: NDArray[np.float32]) -> NDArray[np.float32]:
        assert gate.wait(20.0)
        return rendered(*given)

    monkeypatch.setattr(seat_loops, "heard_loop", held)
    loop = page.desk.rehearsal.loop
    now = time.time()
    with ThreadPoolExecutor(1) as pool:
        line = socket.create_connection(("127.0.0.1", page.guard.port), timeout=20)
        path = (
            f"{urlsplit(page.url).path}sound?after={version}&session=1&place=0.5&at={1e3 * now:.1f}"
        )
        words = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{page.guard.port}\r\n\r\n"
        line.sendall(words.encode())
        while not loop._listeners:
            time.sleep(0.005)
        assert order(page, do="move", seat="oboe", x=1.4, y=2.2)[0] == 200
        with line, line.makefile("rb") as answer:
            assert b"200" in answer.readline()
            headers = dict(
                row.decode().rstrip().split(": ", 1) for row in iter(answer.readline, b"\r\n")
            )
            short, first = int(headers["X-Stretch"]), int(headers["X-First"])
            stretch = np.frombuffer(answer.read(8 * short), "<f4").reshape(2, -1)
            assert loop.version == version, "the rest is not rendered yet"
            assert int(headers["X-Version"]) == version + 1
            pool.submit(gate.set)
            whole, newer, peak = whole_sound(
                answer.read(int(headers["Content-Length"]) - 8 * short)
            )
    assert newer == version + 1
    assert peak == pytest.approx(20 * np.log10(np.abs(whole).max()), abs=0.01)
    there = np.roll(whole, -first, axis=1)[:, :short]
    assert np.abs(stretch - there).max() < 1e-5 * np.abs(whole).max()
    assert np.abs(stretch - np.roll(before, -first, axis=1)[:, :short]).max() > 1e-4
    order(page, do="undo")


def test_a_sound_that_cannot_be_finished_is_cut_off_and_never_filled_with_words(
    page: PageServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def parts() -> Iterator[NDArray[np.float32]]:
        yield np.zeros((2, 5), np.float32)
        raise MemoryError("no more")

    answer = Answer({"X-Stretch": "5"}, 30, parts())
    monkeypatch.setattr(page.desk, "sound_after", lambda *_given: answer)
    with pytest.raises(IncompleteRead) as cut:
        asked(page, "sound?after=0&session=1")
    assert cut.value.partial == bytes(40)


def test_hostile_names_are_plain_values(page: PageServer) -> None:
    news = json.loads(asked(page, "news?after=-1&session=1")[2])
    assert HOSTILE.replace("/", "") in [seat["name"] for seat in news["scene"]["seats"]]
    assert b"onerror" not in asked(page, "")[2]


def test_whoever_hangs_up_or_talks_nonsense_ends_nothing(page: PageServer) -> None:
    for words in (b"", b"\x00" * 300, b"GET /", b"POST / HTTP/1.1\r\nContent-Length: 5\r\n\r\n",
                  b"GET " + b"a" * 70_000 + b" HTTP/1.1\r\n\r\n"):  # fmt: skip
        with socket.create_connection(("127.0.0.1", page.guard.port), timeout=10) as line:
            line.sendall(words)
    for _ in range(3):
        with socket.create_connection(("127.0.0.1", page.guard.port), timeout=10) as line:
            path = urlsplit(page.url).path
            line.sendall(f"GET {path}sound?after=0&session=1 HTTP/1.1\r\n".encode())
            line.sendall(f"Host: 127.0.0.1:{page.guard.port}\r\n\r\n".encode())
    assert order(page, do="undo")[0] == 200


def test_a_changed_file_is_told_and_read_again(page: PageServer) -> None:
    path = page.desk._path
    text = path.read_text(encoding="utf-8")
    order(page, do="move", seat="oboe", x=1.0, y=2.0)
    theirs = text.replace("x = 1.2", "x = 1.4")
    path.write_text(theirs, encoding="utf-8")
    status, facts = order(page, do="save")
    assert (status, facts["changed"]) == (409, True)
    status, facts = order(page, do="save-as", name="mine", beside=True)
    assert status == 200
    assert (facts["session"], facts["seating"], facts["unsaved"]) == (2, "mine", False)
    assert path.read_text(encoding="utf-8").startswith(theirs)
    path.write_text("seats = 3", encoding="utf-8")
    status, facts = order(page, do="reload")
    assert status == 422
    assert "seats" in facts["faults"][0]
    assert order(page, do="undo")[1]["session"] == 2  # the old one goes on
