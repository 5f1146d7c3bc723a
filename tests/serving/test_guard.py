"""The guard: only this page, on this machine, with its token, is answered."""

from __future__ import annotations

import pytest

from seatwright.serving.guard import MOST_BODY_BYTES, Guard, is_loopback, new_token

GUARD = Guard("secret-word", 8_000)
GOOD = {
    "Host": "127.0.0.1:8000",
    "Origin": "http://127.0.0.1:8000",
    "Content-Length": "20",
    "Content-Type": "application/json",
}


def status(method: str = "POST", path: str = "/secret-word/order", peer: str = "127.0.0.1",
           **headers: str | None) -> int:  # fmt: skip
    sent = {**GOOD, **{key.replace("_", "-"): value for key, value in headers.items()}}
    kept = {key: value for key, value in sent.items() if value is not None}
    refusal = GUARD.refusal(method, path, peer, kept)
    return refusal.status if refusal else 200


def test_what_the_page_sends_is_answered() -> None:
    assert status() == 200
    assert status(Host="localhost:8000", Origin="http://localhost:8000") == 200
    assert status("GET", "/secret-word/", Origin=None, Content_Type=None) == 200
    assert (
        status(Sec_Fetch_Site="same-origin", Content_Type="application/json; charset=utf-8") == 200
    )


@pytest.mark.parametrize(
    ("expected", "request_"),
    [
        (403, {"peer": "192.168.1.7"}),
        (403, {"peer": "::ffff:10.0.0.1"}),
        (421, {"Host": "evil.example:8000"}),
        (421, {"Host": "127.0.0.1"}),
        (421, {"Host": "127.0.0.1:8000, evil.example"}),
        (421, {"Host": None}),
        (403, {"Origin": "http://evil.example"}),
        (403, {"Origin": "null"}),
        (403, {"Origin": None}),
        (403, {"Origin": "https://127.0.0.1:8000"}),
        (403, {"Origin": "http://localhost:8000"}),
        (403, {"Sec_Fetch_Site": "cross-site"}),
        (404, {"path": "/"}),
        (404, {"path": "/secret-wor/order"}),
        (404, {"path": "/secret-words/order"}),
        (404, {"path": "/s\u00e9cret-word/order"}),
        (404, {"path": "/x/../secret-word/order"}),
        (411, {"Content_Length": None}),
        (411, {"Content_Length": "-1"}),
        (411, {"Content_Length": "\u0663"}),
        (411, {"Transfer_Encoding": "chunked"}),
        (413, {"Content_Length": str(MOST_BODY_BYTES + 1)}),
        (413, {"Content_Length": "9" * 40}),
        (415, {"Content_Type": "text/plain"}),
        (415, {"Content_Type": None}),
    ],
)
def test_anything_else_is_not(expected: int, request_: dict[str, str | None]) -> None:
    assert status(**request_) == expected  # type: ignore[arg-type]


def test_loopback_is_told_from_all_other_addresses() -> None:
    assert all(map(is_loopback, ["127.0.0.1", "127.9.9.9", "::1"]))
    assert not any(map(is_loopback, ["0.0.0.0", "::", "10.0.0.1", "example.org", "", "localhost"]))


def test_tokens_are_long_and_new() -> None:
    tokens = {new_token() for _ in range(50)}
    assert len(tokens) == 50
    assert min(map(len, tokens)) >= 32
