"""Pairing over the network, and the code to scan on this computer."""

from __future__ import annotations

from aiohttp import web

from listen.page.codes import code_svg
from listen.page.gates import HERE, OWNER
from listen.page.job_routes import small_json
from listen.page.keys import HOUSE
from listen.page.pairing import COOKIE, TOKEN_DAYS


def add_routes(app: web.Application) -> None:
    """Add the pairing routes."""
    app.router.add_post("/api/pair", _pair)
    app.router.add_get("/api/code", _code)
    app.router.add_post("/api/forget", _forget)


async def _pair(request: web.Request) -> web.Response:
    """Exchange the secret that was scanned for a cookie of this phone's own."""
    pairing = request.app[HOUSE].pairing
    if not request.secure:
        raise web.HTTPNotFound(text="This computer needs no pairing.")
    if pairing.held_back():
        raise web.HTTPTooManyRequests(text="Too many wrong codes. Wait a minute.")
    token = pairing.let_in(str((await small_json(request)).get("secret", "")))
    if token is None:
        raise web.HTTPForbidden(
            text="This code was used before or is too old. Scan the one the computer shows now."
        )
    answer = web.json_response({})
    answer.set_cookie(
        COOKIE,
        token,
        max_age=TOKEN_DAYS * 86_400,
        secure=True,
        httponly=True,
        samesite="Strict",
        path="/",
    )
    return answer


async def _code(request: web.Request) -> web.Response:
    """Show the code: to this computer only."""
    house = request.app[HOUSE]
    if request[OWNER] != HERE:
        raise web.HTTPNotFound(text="The code is shown on the computer only.")
    if house.phone_url is None:
        return web.json_response({"url": None, "svg": None, "phones": house.pairing.device_count})
    url = f"{house.phone_url}#{house.pairing.secret}"
    return web.json_response(
        {"url": url, "svg": code_svg(url), "phones": house.pairing.device_count}
    )


async def _forget(request: web.Request) -> web.Response:
    if request[OWNER] != HERE:
        raise web.HTTPNotFound(text="Phones are let in and out on the computer only.")
    request.app[HOUSE].pairing.forget_all()
    return web.json_response({})
