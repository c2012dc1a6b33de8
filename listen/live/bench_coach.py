"""A take by the computer's own microphone, from the first sound to the summary."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack

from listen.live.intake import Piece, silence_for
from listen.live.microphone import Device, Microphone, MicrophoneLostError, reopened
from listen.live.portaudio import MicrophoneError
from listen.live.recording import Recording
from listen.live.sounds import MELODIES, STOPPED, melody, tick
from listen.live.speaker import Speaker
from listen.live.told import Dwelling, Entered, News, PassTold

BACK_WITHIN_S = 60.0


def coach_by_microphone(
    *,
    microphone: Microphone,
    device: Device,
    recording: Recording,
    speaker: Speaker | None,
    stop: threading.Event,
    tell: Callable[[News], None],
    say: Callable[[str], None],
) -> None:
    """Coach until `stop` is set, then end the take properly.

    A microphone that goes is waited for; the take goes on when it is back. The microphone and
    the speaker are closed here.
    """
    with ExitStack() as stack:
        if speaker is not None:
            stack.enter_context(speaker)
        for piece in _sound(microphone, device, say, stop):
            for news in recording.hear(piece):
                tell(news)
                if speaker is not None:
                    _sound_out(speaker, news)
            if stop.is_set():
                break
        for news in recording.finish():
            tell(news)


def _sound(
    microphone: Microphone, device: Device, say: Callable[[str], None], stop: threading.Event
) -> Iterator[Piece]:
    """Sound from the microphone, and from it again when it was away; ends if it stays away."""
    while True:
        try:
            with microphone:
                yield from microphone.pieces()
        except MicrophoneLostError as error:
            gone_s = time.monotonic()
            rate_hz = microphone.sample_rate_hz
            say(f"{error} Plug it in again: the take goes on if it is back within a minute.")
            try:
                microphone = reopened(microphone, device, give_up_s=BACK_WITHIN_S, stop=stop)
            except MicrophoneError:
                if not stop.is_set():
                    say("It did not come back. The take ends here.")
                return
            if microphone.sample_rate_hz != rate_hz:
                say("It came back with another sample rate. The take ends here; begin a new one.")
                with microphone:
                    return
            say("The microphone is back.")
            yield silence_for(time.monotonic() - gone_s, sample_rate_hz=rate_hz)


def _sound_out(speaker: Speaker, news: News) -> None:
    if isinstance(news, Entered):
        for mark_s in news.marks_s:
            last = mark_s == news.marks_s[-1]
            speaker.play(tick(last=last), in_s=mark_s - news.age_s)
    elif isinstance(news, Dwelling):
        speaker.play(melody(STOPPED))
    elif isinstance(news, PassTold) and news.aloud:
        speaker.hush()
        speaker.play(melody(MELODIES[news.cue]))
