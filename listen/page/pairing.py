"""Letting a phone in: a secret that works once, then a token of the phone's own."""

from __future__ import annotations

import hashlib
import json
import secrets
import time
from pathlib import Path

from listen.saving import save_whole

COOKIE = "toothbeat"
TOKEN_DAYS = 30
_WRONG_TRIES = 10
_WRONG_WINDOW_S = 60.0
_SECRET_LIFE_S = 900.0


class Pairing:
    """Knows the one secret that is good now, and the phones that were let in.

    Only hashes of tokens are kept, in a file that only its owner may read.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self._wrong: list[float] = []
        self._secret = ""
        self._secret_from_s = 0.0
        self._devices = _read(file)

    @property
    def secret(self) -> str:
        """The secret that lets the next phone in; a new one after use and after 15 minutes."""
        now_s = time.monotonic()
        if not self._secret or now_s - self._secret_from_s > _SECRET_LIFE_S:
            self._secret = secrets.token_urlsafe(16)
            self._secret_from_s = now_s
        return self._secret

    @property
    def device_count(self) -> int:
        """How many phones are let in."""
        return len(self._devices)

    def held_back(self) -> bool:
        """Whether there were too many wrong tries in the last minute."""
        now_s = time.monotonic()
        self._wrong = [tried_s for tried_s in self._wrong if now_s - tried_s < _WRONG_WINDOW_S]
        return len(self._wrong) >= _WRONG_TRIES

    def let_in(self, offered: str) -> str | None:
        """A new token for the right secret, which is then used up; None for a wrong one."""
        if self.held_back():
            return None
        if not secrets.compare_digest(offered.encode(), self.secret.encode()):
            self._wrong.append(time.monotonic())
            return None
        self._secret = ""
        token = secrets.token_urlsafe(32)
        self._devices[_digest(token)] = time.time() + TOKEN_DAYS * 86_400
        self._save()
        return token

    def device(self, token: str) -> str | None:
        """The name of the phone with this token; None if it was not let in."""
        digest = _digest(token)
        if self._devices.get(digest, 0.0) < time.time():
            return None
        return digest[:16]

    def forget_all(self) -> None:
        """Let no phone in any more."""
        self._devices.clear()
        self._secret = ""
        self._save()

    def _save(self) -> None:
        self._file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._file.touch(mode=0o600)
        now_s = time.time()
        self._devices = {key: until for key, until in self._devices.items() if until > now_s}
        save_whole(self._file, json.dumps(self._devices).encode())


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _read(file: Path) -> dict[str, float]:
    try:
        kept = json.loads(file.read_text())
        return {str(key): float(until) for key, until in kept.items()}
    except (OSError, ValueError, AttributeError, TypeError):
        return {}
