"""The rest of the job: set-up, plan, upload and review, looking back, letting phones in."""

from __future__ import annotations

import asyncio
import json
import shutil
import time
from pathlib import Path
from typing import Any

from aiohttp import web

from analysis.cutting.materials import MATERIALS
from analysis.errors import ToothbeatError
from listen.live.gaps import gaps_told
from listen.live.mending import MENDED
from listen.live.shelf import KeptTake, ShelfError
from listen.live.telling import standing_passes
from listen.page.bench_form import FormError, kept_form, read_form
from listen.page.gates import HERE, OWNER
from listen.page.keys import HOUSE
from listen.page.planning import plan_for
from listen.saving import save_whole

MOST_UPLOAD_BYTES = 500_000_000
SLOWEST_BYTES_S = 8_000
_PATIENCE_S = 20.0
_MOST_UPLOADS = 3
_MOST_TEXT = 8_000
_REPORT = "review.html"
_UPLOADED = "recording"
_LONGEST_NAME = 120


def add_routes(app: web.Application) -> None:
    """Add the routes of the job."""
    router = app.router
    router.add_get("/api/state", _state)
    router.add_put("/api/setup", _save_setup)
    router.add_post("/api/plan", _plan)
    router.add_post("/api/upload", Uploads().upload)
    router.add_get("/api/review/{job}", _review_progress)
    router.add_get("/api/takes", _takes)
    router.add_get("/api/takes/{take}", _take)
    router.add_post("/api/takes/{take}/review", _review_take)
    router.add_post("/api/takes/{take}/dial", _calibrate)
    router.add_get("/api/takes/{take}/report", _report)
    router.add_delete("/api/takes/{take}", _remove_take)


async def small_json(request: web.Request) -> dict[str, Any]:
    """Read a small JSON object from a request."""
    body = await request.content.read(_MOST_TEXT + 1)
    while not request.content.at_eof() and len(body) <= _MOST_TEXT:
        body += await request.content.read(_MOST_TEXT + 1)
    if len(body) > _MOST_TEXT:
        raise web.HTTPRequestEntityTooLarge(_MOST_TEXT, len(body))
    try:
        told = json.loads(body)
    except ValueError:
        raise web.HTTPBadRequest(text="That was not understood.") from None
    if not isinstance(told, dict):
        raise web.HTTPBadRequest(text="That was not understood.")
    return told


async def _state(request: web.Request) -> web.Response:
    house, owner = request.app[HOUSE], request[OWNER]
    unfinished = await asyncio.to_thread(house.shelf.unfinished)
    return web.json_response(
        {
            "here": owner == HERE,
            "phones_welcome": house.phone_url is not None,
            "most_upload_mb": MOST_UPLOAD_BYTES // 1_000_000,
            "setup": _kept_setup(house.home, owner),
            "materials": [material.name for material in MATERIALS],
            "unfinished": [_told(take) for take in unfinished if _sees(owner, take)],
        }
    )


def _setup_file(home: Path, owner: str) -> Path:
    return home / "benches" / f"{owner}.json"


def _kept_setup(home: Path, owner: str) -> dict[str, str]:
    try:
        return kept_form(json.loads(_setup_file(home, owner).read_text()))
    except (OSError, ValueError):
        return {}


async def _save_setup(request: web.Request) -> web.Response:
    form = await small_json(request)
    refusal = _check(form)
    if refusal is not None:
        return refusal
    file = _setup_file(request.app[HOUSE].home, request[OWNER])
    file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    save_whole(file, json.dumps(kept_form(form)).encode())
    return web.json_response({"setup": kept_form(form), "plan": plan_for(form)})


async def _plan(request: web.Request) -> web.Response:
    form = await small_json(request)
    return _check(form) or web.json_response(plan_for(form))


def _check(form: dict[str, Any]) -> web.Response | None:
    try:
        read_form(form)
    except FormError as error:
        return web.json_response({"error": str(error), "field": error.field}, status=400)
    except ToothbeatError as error:
        return web.json_response({"error": str(error), "field": ""}, status=400)
    return None


class Uploads:
    """Recordings that come as files. The name that a file had is never used as a path."""

    def __init__(self) -> None:
        self._under_way = 0

    async def upload(self, request: web.Request) -> web.Response:
        """Take in a recording and begin its review with the kept set-up."""
        length = request.content_length
        if length is None:
            raise web.HTTPLengthRequired(text="The size of the recording must be told first.")
        if not 0 < length <= MOST_UPLOAD_BYTES:
            raise _too_large(length)
        if self._under_way >= _MOST_UPLOADS:
            raise web.HTTPServiceUnavailable(text="Other uploads are under way. Try again soon.")
        house, owner = request.app[HOUSE], request[OWNER]
        if shutil.disk_usage(house.shelf.root).free < length + 300_000_000:
            raise web.HTTPInsufficientStorage(text="The computer's disk is nearly full.")
        setup = _kept_setup(house.home, owner)
        try:
            take = house.shelf.begin(
                {"source": "upload", "file": _called(request), "owner": owner, "setup": setup}
            )
        except ShelfError as error:
            raise web.HTTPInsufficientStorage(text=str(error)) from None
        self._under_way += 1
        try:
            await _receive(request, take.folder / _UPLOADED)
        except BaseException:
            shutil.rmtree(take.folder, ignore_errors=True)
            raise
        finally:
            self._under_way -= 1
        await asyncio.to_thread(house.shelf.end, take)
        return _started(request, take)


def _called(request: web.Request) -> str:
    """What the person calls the file: to be shown, never to be used as a path."""
    told = request.query.get("name", "")
    return "".join(sign for sign in told if sign.isprintable())[:_LONGEST_NAME]


def _too_large(size: int) -> web.HTTPException:
    return web.HTTPRequestEntityTooLarge(
        MOST_UPLOAD_BYTES,
        size,
        text=f"The file is larger than {MOST_UPLOAD_BYTES // 1_000_000} MB. Bring a shorter "
        "recording, or only the sound of the video.",
    )


async def _receive(request: web.Request, target: Path) -> None:
    """Write the body to disk as it comes; give up on a sender that dawdles."""
    started_s = time.monotonic()
    received = 0
    with target.open("xb") as file:
        while True:
            try:
                async with asyncio.timeout(_PATIENCE_S):
                    data = await request.content.readany()
            except TimeoutError:
                raise web.HTTPRequestTimeout(text="The recording came too slowly.") from None
            if not data:
                break
            received += len(data)
            if received > MOST_UPLOAD_BYTES:
                raise _too_large(received)
            spent_s = time.monotonic() - started_s
            if spent_s > _PATIENCE_S and received < spent_s * SLOWEST_BYTES_S:
                raise web.HTTPRequestTimeout(text="The recording came too slowly.")
            await asyncio.to_thread(file.write, data)


def _started(
    request: web.Request, take: KeptTake, more: dict[str, str] | None = None
) -> web.Response:
    house = request.app[HOUSE]
    sound = _sound(take)
    if sound is None:
        raise web.HTTPNotFound(text="No sound was kept of this take.")
    order = {
        "sound": str(sound),
        "called": take.about.get("file", ""),
        "setup": kept_form(take.about.get("setup")),
        "report": str(take.folder / _REPORT),
        "gaps": gaps_told(take.events),
        **(more or {}),
    }
    try:
        job = house.reviews.start(order, owner=request[OWNER])
    except ToothbeatError as error:
        raise web.HTTPServiceUnavailable(text=str(error)) from None
    return web.json_response({"job": job, "take": take.name})


def _sound(take: KeptTake) -> Path | None:
    for name in (MENDED, _UPLOADED):
        if (take.folder / name).is_file():
            return take.folder / name
    return None


async def _review_progress(request: web.Request) -> web.Response:
    job = request.app[HOUSE].reviews.find(request.match_info["job"], request[OWNER])
    if job is None:
        raise web.HTTPNotFound(text="That review is not known.")
    return web.json_response({"share": job.share, "answer": job.answer, "error": job.error})


def _sees(owner: str, take: KeptTake) -> bool:
    return owner in (HERE, take.about.get("owner"))


def _find(request: web.Request) -> KeptTake:
    take = request.app[HOUSE].shelf.find(request.match_info["take"])
    if take is None or not _sees(request[OWNER], take):
        raise web.HTTPNotFound(text="There is no such take.")
    return take


def _told(take: KeptTake) -> dict[str, Any]:
    passes = standing_passes(take.events)
    stamp = take.name
    return {
        "take": take.name,
        "when": f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]} {stamp[9:11]}:{stamp[11:13]}",
        "ended": take.ended,
        "source": take.about.get("source", ""),
        "file": take.about.get("file", ""),
        "setup": kept_form(take.about.get("setup")),
        "passes": len(passes),
        "good": sum(event.get("cue") == "good" for event in passes),
        "reviewed": (take.folder / _REPORT).is_file(),
    }


async def _takes(request: web.Request) -> web.Response:
    house, owner = request.app[HOUSE], request[OWNER]

    def told() -> list[dict[str, Any]]:
        return [_told(take) for take in house.shelf.takes() if _sees(owner, take)][:200]

    return web.json_response({"takes": await asyncio.to_thread(told)})


async def _take(request: web.Request) -> web.Response:
    take = _find(request)
    return web.json_response({**_told(take), "events": take.events[-500:]})


async def _review_take(request: web.Request) -> web.Response:
    """Review a kept take; one that was broken off is mended first."""
    house, take = request.app[HOUSE], _find(request)
    if not take.ended:
        if take.name not in {other.name for other in house.shelf.unfinished()}:
            raise web.HTTPConflict(text="This take is still being recorded.")
        await asyncio.to_thread(house.shelf.end, take)
    return _started(request, take)


async def _calibrate(request: web.Request) -> web.Response:
    """Calibrate a router's dial from a take with known settings."""
    take, told = _find(request), await small_json(request)
    router, settings = str(told.get("router", ""))[:60], str(told.get("settings", ""))[:200]
    if not take.ended:
        raise web.HTTPConflict(text="This take is still being recorded.")
    return _started(request, take, {"router": router, "settings": settings})


async def _report(request: web.Request) -> web.Response:
    file = _find(request).folder / _REPORT
    if not file.is_file():
        raise web.HTTPNotFound(text="This take has not been reviewed yet.")
    return web.Response(
        body=await asyncio.to_thread(file.read_bytes),
        content_type="text/html",
        charset="utf-8",
        headers={
            "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; "
            "img-src data:; sandbox; frame-ancestors 'none'"
        },
    )


async def _remove_take(request: web.Request) -> web.Response:
    try:
        request.app[HOUSE].shelf.remove(_find(request))
    except ShelfError as error:
        raise web.HTTPConflict(text=str(error)) from None
    return web.json_response({})
