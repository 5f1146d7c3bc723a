"""Which requests are answered: from this machine, to this page's address, by this page.

A page of another site can make a browser send requests here; it can neither know the token in the
path, nor send this page's Origin, nor (by a name that resolves to this machine) its Host.
"""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Mapping
from dataclasses import dataclass

MOST_BODY_BYTES = 16_384
"""Of what the page sends."""


@dataclass(frozen=True)
class Refusal:
    """Why a request is not answered.

    Parameters
    ----------
    status : int
        HTTP.
    why : str
    """

    status: int
    why: str


def new_token() -> str:
    """A word for the path that nobody can guess."""
    return secrets.token_urlsafe(24)


def is_loopback(address: str) -> bool:
    """Whether an address is of this machine alone."""
    try:
        return ipaddress.ip_address(address.partition("%")[0]).is_loopback
    except ValueError:
        return False


@dataclass(frozen=True)
class Guard:
    """What a request must carry.

    Parameters
    ----------
    token : str
    port : int
    """

    token: str
    port: int

    @property
    def hosts(self) -> tuple[str, ...]:
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    def refusal(
        self, method: str, path: str, peer: str, headers: Mapping[str, str]
    ) -> Refusal | None:
        """Why a request is not answered; None where it is.

        Parameters
        ----------
        method, path : str
            As sent.
        peer : str
            Address it comes from.
        headers : mapping of str to str
            Found without regard to case.
        """
        if not is_loopback(peer):
            return Refusal(403, "not from this machine")
        host = (headers.get("Host") or "").lower()
        if host not in self.hosts:
            return Refusal(421, "not this page's address")
        origin = headers.get("Origin")
        if origin is None and method == "POST":
            return Refusal(403, "not from this page")
        if origin is not None and origin.lower() != f"http://{host}":
            return Refusal(403, "not from this page")
        if headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            return Refusal(403, "not from this page")
        if not secrets.compare_digest(_token_of(path).encode(), self.token.encode()):
            return Refusal(404, "no such page")
        return _body_refusal(headers) if method == "POST" else None


def _token_of(path: str) -> str:
    return path.lstrip("/").partition("/")[0].partition("?")[0]


def _body_refusal(headers: Mapping[str, str]) -> Refusal | None:
    if headers.get("Transfer-Encoding") is not None:
        return Refusal(411, "wanted a Content-Length")
    length = headers.get("Content-Length") or ""
    if not (length.isascii() and length.isdigit()):
        return Refusal(411, "wanted a Content-Length")
    if len(length) > 9 or int(length) > MOST_BODY_BYTES:
        return Refusal(413, f"wanted at most {MOST_BODY_BYTES} bytes")
    kind = (headers.get("Content-Type") or "").partition(";")[0].strip().lower()
    return None if kind == "application/json" else Refusal(415, "wanted application/json")
