"""PortAudio, loaded when it is needed, and kept from writing over the screen."""

from __future__ import annotations

import atexit
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any

from analysis.errors import ToothbeatError

_CLOSING_S = 1.0


class MicrophoneError(ToothbeatError):
    """No sound can be had; the message says what to do."""


def portaudio() -> ModuleType:
    """Return sounddevice, ready for use.

    Raises
    ------
    MicrophoneError
        If the PortAudio library is not installed.
    """
    try:
        with hushed():
            import sounddevice
    except OSError:
        raise MicrophoneError(
            "The PortAudio library is not installed, so no microphone can be opened. Install it "
            "(Debian, Ubuntu: sudo apt install libportaudio2; Fedora: sudo dnf install "
            "portaudio), or use a phone: toothbeat page --phone."
        ) from None
    module: ModuleType = sounddevice
    return module


def look_again() -> None:
    """Have PortAudio find the devices anew: its list is as old as its start."""
    module = portaudio()
    with hushed():
        module._terminate()
        module._initialize()


def leave_alone(*, at_exit: bool) -> None:
    """Whether PortAudio is left as it is when the program ends, or put in order as usual.

    Putting it in order waits for a sound server that answers no more, for ever.
    """
    put_in_order = portaudio()._exit_handler
    atexit.unregister(put_in_order)
    if not at_exit:
        atexit.register(put_in_order)


def let_go(stream: Any) -> threading.Thread:
    """Close a stream; the thread that does so lives on where the sound server answers no more.

    To wait for that would leave the person unheard.
    """

    def close() -> None:
        stream.abort(ignore_errors=True)
        stream.close(ignore_errors=True)

    closing = threading.Thread(target=close, name="closing", daemon=True)
    closing.start()
    with hushed():
        closing.join(_CLOSING_S)
    if closing.is_alive():
        leave_alone(at_exit=True)
    return closing


@contextmanager
def hushed() -> Iterator[None]:
    """Keep what sound libraries write to standard error by themselves off the screen."""
    sys.stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
