"""The computer's microphone: choosing it, hearing it, and noticing when it goes."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from types import ModuleType, TracebackType
from typing import Any, Self

import numpy as np

from listen.live.frames import Samples
from listen.live.intake import Piece
from listen.live.portaudio import (
    MicrophoneError,
    hushed,
    leave_alone,
    let_go,
    look_again,
    portaudio,
)

WANTED_RATE_HZ = 48_000
_BLOCK = 2048
_FIRST_BLOCK_S = 6.0
_SILENT_S = 2.0
"""No block for so long: the device is frozen or gone, though PortAudio says nothing."""
_QUEUE_BLOCKS = 1500
_OVERFLOW_S = 0.1
"""PortAudio says that sound was lost, not how much: taken as this much."""


class MicrophoneLostError(MicrophoneError):
    """The microphone gave sound and gives none any more."""


@dataclass(frozen=True, slots=True)
class Device:
    """An input that PortAudio offers."""

    index: int
    name: str
    channels: int
    rate_hz: float
    is_default: bool


def input_devices() -> list[Device]:
    """All inputs, as PortAudio numbers them."""
    sound = portaudio()
    with hushed():
        found = sound.query_devices()
        default = sound.default.device[0]
    return [
        Device(
            number,
            str(device["name"]),
            int(device["max_input_channels"]),
            float(device["default_samplerate"]),
            number == default,
        )
        for number, device in enumerate(found)
        if device["max_input_channels"] > 0
    ]


def choose_device(wanted: str | None, devices: list[Device]) -> Device:
    """The input that is meant: by number, by part of its name, or a sensible one.

    Without a wish it is the system's default input, else the first.

    Raises
    ------
    MicrophoneError
        If there is no input, or the wish fits none or several.
    """
    if not devices:
        raise MicrophoneError(
            "No microphone was found: none is plugged in, another program holds it, or the "
            "system's settings don't let you use it (on Linux you may have to be in the group "
            "audio). Put that right, or use a phone: toothbeat page --phone."
        )
    if wanted is None:
        return next((device for device in devices if device.is_default), devices[0])
    if wanted.strip().isdecimal():
        fitting = [device for device in devices if device.index == int(wanted)]
    else:
        fitting = [device for device in devices if wanted.casefold() in device.name.casefold()]
    if len(fitting) == 1:
        return fitting[0]
    what = "Several microphones fit" if fitting else "No microphone fits"
    listed = "\n".join(f"  {device.index}  {device.name}" for device in fitting or devices)
    raise MicrophoneError(f'{what} "{wanted}". Give the number of one of these:\n{listed}')


class Microphone:
    """An open input: iterate over `pieces()` inside a `with`.

    Raises
    ------
    MicrophoneError
        If the device cannot be opened.
    """

    def __init__(self, device: Device) -> None:
        self._device = device
        self._sound = portaudio()
        self._blocks: queue.Queue[tuple[Samples, bool] | None] = queue.Queue(_QUEUE_BLOCKS)
        self._overrun = False
        self._heard_any = False
        self._closing: threading.Thread | None = None
        self._stream, self.sample_rate_hz = self._opened()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._closing = let_go(self._stream)

    @property
    def closed(self) -> bool:
        """Whether the device was let go; until then PortAudio must be left alone."""
        return self._closing is not None and not self._closing.is_alive()

    def pieces(self) -> Iterator[Piece]:
        """Yield sound as it comes, without end; silence marks what the system lost.

        Raises
        ------
        MicrophoneLostError
            When the sound stops coming.
        """
        while True:
            patience_s = _SILENT_S if self._heard_any else _FIRST_BLOCK_S
            try:
                block = self._blocks.get(timeout=patience_s)
            except queue.Empty:
                block = None
            if block is None:
                raise MicrophoneLostError(
                    f'The microphone "{self._device.name}" gives no sound any more. What was '
                    "recorded is kept."
                )
            self._heard_any = True
            samples, lost = block
            if lost:
                yield Piece(np.zeros(0, np.float32), _OVERFLOW_S)
            yield Piece(samples)

    def _opened(self) -> tuple[Any, int]:
        rates = dict.fromkeys((WANTED_RATE_HZ, round(self._device.rate_hz)))
        failure: Exception = ValueError()
        for rate_hz in rates:
            try:
                with hushed():
                    stream = self._sound.InputStream(
                        samplerate=rate_hz,
                        blocksize=_BLOCK,
                        device=self._device.index,
                        channels=1,
                        dtype="float32",
                        callback=self._hear,
                        finished_callback=self._gone,
                    )
                    stream.start()
            except (self._sound.PortAudioError, ValueError) as error:
                failure = error
                continue
            return stream, rate_hz
        raise MicrophoneError(_why_closed(self._sound, self._device, failure))

    def _hear(self, block: Samples, _count: int, _times: object, status: Any) -> None:
        """Copy and queue, nothing else: PortAudio's own thread waits for this."""
        lost = bool(status.input_overflow) or self._overrun
        try:
            self._blocks.put_nowait((block[:, 0].copy(), lost))
            self._overrun = False
        except queue.Full:
            self._overrun = True

    def _gone(self) -> None:
        try:
            self._blocks.put_nowait(None)
        except queue.Full:
            return


def reopened(
    lost: Microphone, device: Device, *, give_up_s: float, stop: threading.Event
) -> Microphone:
    """Try to open the device again until it is back, or `stop` is set.

    Raises
    ------
    MicrophoneError
        If it is not back in time.
    """
    until_s = time.monotonic() + give_up_s
    while True:
        try:
            if not lost.closed:
                raise MicrophoneError("The sound system does not answer.")
            leave_alone(at_exit=False)
            look_again()
            back = [one for one in input_devices() if one.name == device.name]
            return Microphone(choose_device(None, back))
        except MicrophoneError:
            if time.monotonic() >= until_s or stop.wait(1.0):
                raise


def _why_closed(sound: ModuleType, device: Device, error: Exception) -> str:
    """One sentence for the reasons that PortAudio tells apart."""
    code = error.args[1] if isinstance(error, sound.PortAudioError) and len(error.args) > 1 else 0
    name = f'"{device.name}"'
    if code in (-9985, -9993, -9999):  # unavailable, illegal combination, host's own error
        return (
            f"The microphone {name} is in use by another program or not ready. Close the other "
            "program, or choose another with --device."
        )
    if code == -9997:
        return f"The microphone {name} offers no sample rate that can be used. Choose another."
    return f"The microphone {name} cannot be opened ({error.args[0] if error.args else error})."
