"""The page's server: loopback only, a few paths, and nothing a request can do ends it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np

from seatwright.errors import DiskError, Fault, RenderError, SceneError, SeatwrightError
from seatwright.loop_stretch import Playing
from seatwright.serving.desk import Answer, Desk, refusal_facts
from seatwright.serving.guard import MOST_BODY_BYTES, Guard, is_loopback, new_token
from seatwright.serving.orders import order_of
from seatwright.views.rehearsal_page import POLICY, page_parts

ADDRESS = "127.0.0.1"
_MOST_CONNECTIONS_WAITING = 32
_IDLE_SECONDS = 60.0

_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class PageServer(ThreadingHTTPServer):
    """Serves one desk.

    Parameters
    ----------
    desk : Desk
    port : int
        0 for any that is free.
    address : str
        One of this machine alone.

    Raises
    ------
    SceneError
        If the address is not loopback.
    DiskError
        If the port cannot be had.
    """

    daemon_threads = True
    allow_reuse_address = True
    request_queue_size = _MOST_CONNECTIONS_WAITING

    def __init__(self, desk: Desk, port: int = 0, address: str = ADDRESS):
        if not is_loopback(address):
            raise SceneError(Fault(f"found the address {address}, wanted one of this machine"))
        self.desk = desk
        try:
            super().__init__((address, port), _Handler)
        except (OSError, OverflowError) as error:
            raise DiskError(Fault(f"port {port} cannot be had: {error}")) from error
        self.guard = Guard(new_token(), self.server_address[1])
        self.parts = page_parts()

    @property
    def url(self) -> str:
        """Of the page."""
        return f"http://{ADDRESS}:{self.guard.port}/{self.guard.token}/"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that goes away in the middle is no news."""


class _Handler(BaseHTTPRequestHandler):
    server: PageServer
    protocol_version = "HTTP/1.1"
    server_version = "seatwright"
    sys_version = ""
    timeout = _IDLE_SECONDS
    disable_nagle_algorithm = True
    wbufsize = 1 << 16

    def do_GET(self) -> None:
        if not self._refused("GET"):
            self._guarded(self._get)

    def do_POST(self) -> None:
        if not self._refused("POST"):
            self._guarded(self._post)

    def _refused(self, method: str) -> bool:
        refusal = self.server.guard.refusal(
            method, self.path, self.client_address[0], dict(self._single_headers())
        )
        if refusal is None:
            return False
        self.close_connection = True  # what else it sent is not read
        self._answer(refusal.status, "text/plain; charset=utf-8", refusal.why.encode())
        return True

    def _single_headers(self) -> Mapping[str, str]:
        """Headers; one that is sent twice counts as missing or wrong, never as its first."""
        found: dict[str, str] = {}
        for key, value in self.headers.items():
            key = "-".join(part.capitalize() for part in key.split("-"))
            found[key] = f"{found[key]}, {value}" if key in found else value
        return found

    def _guarded(self, answer: Any) -> None:
        """Answer; whatever goes wrong is said to the page and ends nothing."""
        try:
            answer()
        except SeatwrightError as error:
            facts = refusal_facts(error, self.server.desk.rehearsal)
            self._json(409 if facts["changed"] else 422, facts)
        except (ConnectionError, TimeoutError):
            self.close_connection = True
        except Exception as error:
            what = RenderError(f"this did not work: {type(error).__name__}: {error}")
            self._json(500, refusal_facts(what, self.server.desk.rehearsal))

    def _get(self) -> None:
        parts = urlsplit(self.path)
        name = parts.path.lstrip("/").partition("/")[2]
        query = parse_qs(parts.query)
        after, session = _number(query, "after"), _number(query, "session")
        if name == "news":
            self._json(200, self.server.desk.news_after(after, session))
        elif name == "sound":
            place, at = _seconds(query, "place"), _seconds(query, "at")
            playing = None if place is None else Playing(place, (at or 0.0) / 1000.0)
            self._sound(self.server.desk.sound_after(after, session, playing))
        elif name == "level":
            self._sound(self.server.desk.level_check())
        elif name in self.server.parts:
            self._answer(200, *self.server.parts[name])
        else:
            self._answer(404, "text/plain; charset=utf-8", b"no such page")

    def _post(self) -> None:
        length = min(int(self.headers["Content-Length"]), MOST_BODY_BYTES)
        order = order_of(self.rfile.read(length))
        self._json(200, self.server.desk.carry_out(order))

    def _sound(self, found: Answer | None) -> None:
        """Samples as they are, of each part left and then right, float32, low byte first."""
        if found is None:
            self._answer(204, "application/octet-stream")
            return
        self._begin(200, "application/octet-stream", 4 * found.samples, found.headers)
        try:
            for part in found.parts:  # each on its way before the next is touched
                if part.size:
                    self.wfile.write(np.ascontiguousarray(part, dtype="<f4").data.cast("B"))
                    self.wfile.flush()
        except Exception as error:  # words of it would be played as samples
            raise ConnectionError("a sound was cut off") from error

    def _json(self, status: int, facts: Mapping[str, Any]) -> None:
        data = json.dumps(facts, allow_nan=False).encode()
        self._answer(status, "application/json", data)

    def _answer(self, status: int, kind: str, content: bytes = b"") -> None:
        self._begin(status, kind, len(content))
        self.wfile.write(content)
        self.wfile.flush()

    def _begin(
        self, status: int, kind: str, length: int, headers: Mapping[str, str] | None = None
    ) -> None:
        self.send_response(status)
        for key, value in {**_HEADERS, **(headers or {})}.items():
            self.send_header(key, value)
        if status != 204:
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(length))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Requests are no news for the terminal."""


def _seconds(query: Mapping[str, list[str]], key: str) -> float | None:
    """A number of the page's clock, None where there is none that could be."""
    text = query.get(key, [""])[-1]
    return float(text) if re.fullmatch(r"\d{1,14}(\.\d{1,6})?", text, re.ASCII) else None


def _number(query: Mapping[str, list[str]], key: str) -> int:
    text = query.get(key, ["0"])[-1]
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else 0
