"""Sound in and news out: by WebSocket, or by POST where a phone refuses the socket."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from aiohttp import WSMsgType, web

from analysis.dial.settings import Setting, parse_settings
from analysis.errors import ToothbeatError
from listen.live.frames import MOST_BYTES, FrameError, unpack_frame
from listen.live.recording import Order
from listen.page.bench_form import kept_form, read_form
from listen.page.gates import OWNER
from listen.page.keys import HOUSE
from listen.page.session import LiveSession, TooFastError

_HELLO_S = 8.0
_SILENT_S = 30.0
_LAST_WORDS_S = 5.0
_OUTBOX = 300
_MOST_FRAMES_A_POST = 64
_MOST_TEXT = 4_000
_MOST_SETTINGS_TEXT = 200
_WORDS = ("again", "skip")


def add_routes(app: web.Application) -> None:
    """Add the sound routes."""
    app.router.add_get("/sound", _socket)
    app.router.add_post("/api/sound", _open_by_post)
    app.router.add_post("/api/sound/{take}", _sound_by_post)
    app.router.add_post("/api/sound/{take}/end", _end_by_post)


async def _open(request: web.Request, hello: object) -> LiveSession:
    """Begin or take up the take that the page asks for."""
    if not isinstance(hello, dict) or not isinstance(hello.get("rate"), int):
        raise FrameError("The page did not say what it sends. Load it again.")
    house = request.app[HOUSE]
    name = hello.get("take")
    settings: tuple[Setting, ...] = ()
    if hello.get("mode") == "dial":
        settings = parse_settings(str(hello.get("settings"))[:_MOST_SETTINGS_TEXT])
    return await house.sessions.open(
        owner=request[OWNER],
        order=Order(read_form(hello.get("setup")), hello["rate"], settings),
        about={"source": "dial" if settings else "page", "setup": kept_form(hello.get("setup"))},
        name=name if isinstance(name, str) else None,
    )


def _welcome(session: LiveSession) -> dict[str, Any]:
    return {
        "kind": "welcome",
        "take": session.name,
        "expect": session.expected,
        "kept": session.recording.kept,
        "duration_s": round(session.recording.duration_s, 1),
        "told": session.passes_told(),
    }


async def _socket(request: web.Request) -> web.WebSocketResponse:
    socket = web.WebSocketResponse(heartbeat=10.0, max_msg_size=MOST_BYTES, compress=False)
    await socket.prepare(request)
    try:
        session = await _open(request, await socket.receive_json(timeout=_HELLO_S))
    except (ToothbeatError, TimeoutError, TypeError, ValueError) as error:
        text = str(error) if isinstance(error, ToothbeatError) else "The page said nothing clear."
        await _last_word(socket, {"kind": "refused", "text": text})
        return socket
    outbox: asyncio.Queue[dict[str, Any]] = asyncio.Queue(_OUTBOX)
    await socket.send_json(_welcome(session))
    stop_listening = session.listen_in(lambda news: _post(outbox, news))
    sending = asyncio.create_task(_send(socket, outbox, session))
    try:
        if await _receive(socket, session):
            await request.app[HOUSE].sessions.end(session)
            # All that the end of the take tells, and the summary last.
            await asyncio.wait_for(sending, _LAST_WORDS_S)
            await socket.close()
    except TimeoutError:
        return socket
    finally:
        stop_listening()
        sending.cancel()
    return socket


def _post(outbox: asyncio.Queue[dict[str, Any]], news: dict[str, Any]) -> None:
    """Queue news; a page that does not read loses the oldest."""
    if outbox.full():
        outbox.get_nowait()
    outbox.put_nowait(news)


async def _send(
    socket: web.WebSocketResponse, outbox: asyncio.Queue[dict[str, Any]], session: LiveSession
) -> None:
    """Send news as it comes until the take ends; twice a second, how much has arrived."""
    while not socket.closed:
        try:
            news = await asyncio.wait_for(outbox.get(), timeout=0.5)
        except TimeoutError:
            news = {"kind": "arrived", "expect": session.expected, "kept": session.recording.kept}
        try:
            await socket.send_json(news)
        except ConnectionError:
            return
        if news["kind"] == "ended":
            return


async def _receive(socket: web.WebSocketResponse, session: LiveSession) -> bool:
    """Take in what the page sends; whether it ends the take with that."""
    while True:
        try:
            message = await socket.receive(timeout=_SILENT_S)
        except TimeoutError:
            await _last_word(socket, {"kind": "refused", "text": "No sound came for 30 s."})
            return False
        if message.type is WSMsgType.BINARY or message.data in _WORDS:
            refusal = _take_in(session, message.data)
            if refusal is not None:
                await _last_word(socket, {"kind": "refused", "text": refusal})
                return False
        elif message.type is WSMsgType.TEXT:
            if message.data == "end":
                return True
            await _last_word(socket, {"kind": "refused", "text": "That was not understood."})
            return False
        else:
            return False


def _take_in(session: LiveSession, data: bytes | str) -> str | None:
    """Pass on a frame or a word; the reason in words if it cannot be."""
    try:
        session.put(data if isinstance(data, str) else unpack_frame(data))
    except FrameError as error:
        return str(error)
    except TooFastError:
        return "Sound came too fast."
    return None


async def _last_word(socket: web.WebSocketResponse, news: dict[str, Any]) -> None:
    try:
        await socket.send_json(news)
        await socket.close()
    except ConnectionError:
        return


async def _open_by_post(request: web.Request) -> web.Response:
    if (request.content_length or 0) > _MOST_TEXT:
        raise web.HTTPRequestEntityTooLarge(_MOST_TEXT, request.content_length or 0)
    try:
        session = await _open(request, await request.json())
    except (ToothbeatError, json.JSONDecodeError, UnicodeDecodeError) as error:
        text = str(error) if isinstance(error, ToothbeatError) else "That was not understood."
        return web.json_response({"kind": "refused", "text": text}, status=400)
    return web.json_response(_welcome(session))


async def _sound_by_post(request: web.Request) -> web.Response:
    """Frames, each after its length as a 32-bit number; `?heard=` is how much news is known."""
    session = _session(request)
    most = _MOST_FRAMES_A_POST * (MOST_BYTES + 4)
    body = await request.content.read(most + 1) if request.can_read_body else b""
    while not request.content.at_eof():
        more = await request.content.read(most + 1)
        body += more
        if len(body) > most:
            raise web.HTTPRequestEntityTooLarge(most, len(body))
    try:
        for data in _split(body):
            session.put(unpack_frame(data))
    except FrameError as error:
        return web.json_response({"kind": "refused", "text": str(error)}, status=400)
    except TooFastError:
        return web.json_response({"kind": "refused", "text": "Sound came too fast."}, status=429)
    count, news = session.told_since(_heard(request))
    return web.json_response(
        {
            "expect": session.expected,
            "kept": session.recording.kept,
            "heard": count,
            "news": news,
        }
    )


async def _end_by_post(request: web.Request) -> web.Response:
    """End the take; `?heard=` is how much news is known. The summary comes last."""
    session = _session(request)
    await request.app[HOUSE].sessions.end(session)
    await asyncio.sleep(0)
    return web.json_response({"news": session.told_since(_heard(request))[1]})


def _heard(request: web.Request) -> int:
    heard = request.query.get("heard", "0")
    return int(heard) if heard.isdecimal() and len(heard) < 12 else 0


def _session(request: web.Request) -> LiveSession:
    session = request.app[HOUSE].sessions.find(request.match_info["take"], request[OWNER])
    if session is None:
        raise web.HTTPNotFound(text="That take is not under way.")
    return session


def _split(body: bytes) -> list[bytes]:
    frames: list[bytes] = []
    at = 0
    while at < len(body):
        length = int.from_bytes(body[at : at + 4], "little")
        if not 0 < length <= len(body) - at - 4 or len(frames) >= _MOST_FRAMES_A_POST:
            raise FrameError("A post does not hold whole frames.")
        frames.append(body[at + 4 : at + 4 + length])
        at += 4 + length
    return frames
