"""A sounddevice without sound: what PortAudio would do, by hand."""

from __future__ import annotations

import sys
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest


class PortAudioError(Exception):
    pass


class FakeStream:
    """Remembers its callbacks, so that a test can play the device."""

    def __init__(self, **options: Any) -> None:
        self.options = options
        self.closed = False

    def start(self) -> None:
        pass

    def abort(self, *, ignore_errors: bool) -> None:  # noqa: ARG002
        self.closed = True

    def close(self, *, ignore_errors: bool) -> None:  # noqa: ARG002
        self.closed = True

    def play(self, block: np.ndarray, *, overflow: bool = False) -> None:
        status = SimpleNamespace(input_overflow=overflow)
        self.options["callback"](block.reshape(-1, 1), len(block), None, status)

    def end(self) -> None:
        self.options["finished_callback"]()


def install(
    monkeypatch: pytest.MonkeyPatch,
    devices: list[tuple[str, int]],
    *,
    default: int = 0,
    failure: Exception | None = None,
    good_rates: tuple[int, ...] = (48_000, 44_100),
) -> list[FakeStream]:
    """Put a fake in place; returns the streams that will be opened."""
    opened: list[FakeStream] = []

    def stream(**options: Any) -> FakeStream:
        if failure is not None:
            raise failure
        if options["samplerate"] not in good_rates:
            raise PortAudioError("Invalid sample rate", -9997)
        opened.append(FakeStream(**options))
        return opened[-1]

    module = ModuleType("sounddevice")
    module.__dict__.update(
        PortAudioError=PortAudioError,
        InputStream=stream,
        OutputStream=stream,
        default=SimpleNamespace(device=(default, default)),
        query_devices=lambda: [
            {"name": name, "max_input_channels": channels, "default_samplerate": 44_100.0}
            for name, channels in devices
        ],
        _terminate=lambda: None,
        _initialize=lambda: None,
        _exit_handler=lambda: None,
    )
    monkeypatch.setitem(sys.modules, "sounddevice", module)
    return opened
