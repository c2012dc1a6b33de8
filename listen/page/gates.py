"""Who may ask for what: host, origin, pairing, rate, and what every answer forbids."""

from __future__ import annotations

import ipaddress
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from aiohttp import web

from analysis.errors import ToothbeatError
from listen.page.pairing import COOKIE, Pairing

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

OWNER: web.RequestKey[str] = web.RequestKey("owner", str)
HERE = "here"
"""The owner of what is recorded at this computer's own page."""
_PUBLIC = ("/pair", "/api/pair", "/static/")
_REQUESTS_PER_S, _BURST = 40.0, 160.0
_MOST_AT_ONCE = 96
_SAFE_METHODS = {"GET", "HEAD"}


@dataclass(slots=True)
class _Bucket:
    tokens: float
    filled_s: float


class Gates:
    """The checks that every request passes before a handler sees it.

    Parameters
    ----------
    local_port : int
        The loopback port, plain HTTP, for this computer only.
    phone_host : str or None
        Host and port under which phones reach the TLS listener, if it is open.
    """

    def __init__(self, *, local_port: int, phone_host: str | None, pairing: Pairing) -> None:
        names = ("localhost", "127.0.0.1", "[::1]")
        self._local_hosts = {f"{name}:{local_port}" for name in names}
        self._phone_host = phone_host
        self._pairing = pairing
        self._buckets: dict[str, _Bucket] = {}
        self._at_once = 0

    @web.middleware
    async def middleware(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Check a request, then answer it with the headers that lock the page down."""
        refusal = self._refusal(request)
        if refusal is not None:
            return self._locked(request, refusal)
        self._at_once += 1
        try:
            answer = await handler(request)
        except web.HTTPException as error:
            answer = _said(error.status, error.text or error.reason)
        except ToothbeatError as error:
            answer = _said(507, str(error))
        finally:
            self._at_once -= 1
        return answer if answer.prepared else self._locked(request, answer)

    def _refusal(self, request: web.Request) -> web.Response | None:
        if not self._within_rate(request.remote or ""):
            return _said(429, "Too many requests. Wait a moment.")
        if self._at_once >= _MOST_AT_ONCE:
            return _said(503, "Too many requests at once. Wait a moment.")
        if not self._host_is_ours(request):
            return _said(421, "This address is not served here.")
        if not self._origin_is_ours(request):
            return _said(403, "Another site's page may not ask this.")
        owner = self._owner(request)
        if owner is None and not request.path.startswith(_PUBLIC):
            if request.path == "/":
                return web.Response(status=303, headers={"Location": "/pair"})
            return _said(401, "This device is not paired. Scan the code on the computer.")
        request[OWNER] = owner or ""
        return None

    def _host_is_ours(self, request: web.Request) -> bool:
        """Check the Host header: a foreign name that resolves to us is turned away."""
        host = (request.headers.get("Host") or "").lower()
        if request.secure:
            return host == self._phone_host
        return host in self._local_hosts and _is_loopback(request.remote)

    def _origin_is_ours(self, request: web.Request) -> bool:
        """Check the Origin: whatever changes something, and a socket, must come from our page."""
        if request.headers.get("Sec-Fetch-Site", "same-origin") == "cross-site" and (
            request.path != "/" and request.path != "/pair"
        ):
            return False
        origin = request.headers.get("Origin")
        is_socket = request.headers.get("Upgrade", "").lower() == "websocket"
        if origin is None:
            return request.method in _SAFE_METHODS and not is_socket
        return origin.lower() == f"{request.scheme}://{(request.headers.get('Host') or '').lower()}"

    def _owner(self, request: web.Request) -> str | None:
        if not request.secure:
            return HERE
        token = request.cookies.get(COOKIE)
        return self._pairing.device(token) if token else None

    def _within_rate(self, peer: str) -> bool:
        now_s = time.monotonic()
        if len(self._buckets) > 1000:
            self._buckets.clear()
        bucket = self._buckets.setdefault(peer, _Bucket(_BURST, now_s))
        bucket.tokens = min(_BURST, bucket.tokens + (now_s - bucket.filled_s) * _REQUESTS_PER_S)
        bucket.filled_s = now_s
        if bucket.tokens < 1:
            return False
        bucket.tokens -= 1
        return True

    def _locked(self, request: web.Request, answer: web.StreamResponse) -> web.StreamResponse:
        """Add the headers that let a page load from here only, and be framed by nobody."""
        socket = f"{'wss' if request.secure else 'ws'}://{request.headers.get('Host', '')}"
        connect = f"'self' {socket}" if self._host_is_ours(request) else "'none'"
        answer.headers.setdefault(
            "Content-Security-Policy",
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
            f"connect-src {connect}; worker-src 'self'; media-src 'self'; base-uri 'none'; "
            "form-action 'none'; frame-ancestors 'none'",
        )
        for name, value in (
            ("X-Content-Type-Options", "nosniff"),
            ("Referrer-Policy", "no-referrer"),
            ("Cross-Origin-Opener-Policy", "same-origin"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
            ("Permissions-Policy", "microphone=(self), screen-wake-lock=(self), camera=()"),
            ("Cache-Control", "no-store"),
        ):
            answer.headers.setdefault(name, value)
        answer.headers["Server"] = "toothbeat"
        return answer


def _is_loopback(peer: str | None) -> bool:
    try:
        return ipaddress.ip_address(peer or "").is_loopback
    except ValueError:
        return False


def _said(status: int, text: str) -> web.Response:
    return web.json_response({"error": text}, status=status)
