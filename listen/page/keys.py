"""What the handlers share, under typed names."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from aiohttp import web

from listen.live.shelf import Shelf
from listen.page.pairing import Pairing
from listen.page.reviewing import Reviews
from listen.page.sessions import Sessions


@dataclass(frozen=True, slots=True)
class House:
    """The parts of a running page.

    `phone_url` is where phones go to be paired, None while only this computer is served.
    """

    home: Path
    shelf: Shelf
    sessions: Sessions
    reviews: Reviews
    pairing: Pairing
    phone_url: str | None


HOUSE: web.AppKey[House] = web.AppKey("house", House)
