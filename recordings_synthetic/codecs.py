"""The files that phones write: the same samples through real encoders."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Coding:
    """A container, an audio encoder, its bit rate (0: not asked), and its sampling rate.

    ``rate_hz`` of 0 keeps the recording's own; ``picture`` adds a small video track.
    """

    suffix: str
    encoder: str
    bit_rate: int
    rate_hz: int = 0
    picture: bool = False


CODINGS = {
    "wav": Coding(".wav", "pcm_s16le", 0),
    "flac": Coding(".flac", "flac", 0),
    "alac": Coding(".m4a", "alac", 0),
    "aac-32k": Coding(".m4a", "aac", 32_000),
    "aac-64k": Coding(".m4a", "aac", 64_000),
    "aac-128k": Coding(".m4a", "aac", 128_000),
    "opus-24k": Coding(".opus", "libopus", 24_000, 48_000),
    "opus-32k": Coding(".opus", "libopus", 32_000, 48_000),
    "opus-64k": Coding(".opus", "libopus", 64_000, 48_000),
    "mp3-64k": Coding(".mp3", "libmp3lame", 64_000),
    "mp3-128k": Coding(".mp3", "libmp3lame", 128_000),
    "amr": Coding(".3gp", "libopencore_amrnb", 12_200, 8_000),
    "mp4-64k": Coding(".mp4", "aac", 64_000, 0, True),
    "mov-96k": Coding(".mov", "aac", 96_000, 0, True),
}


def encode(samples: NDArray[np.int16], sample_rate_hz: int, path: Path, coding: Coding) -> None:
    """Write mono samples as a sound file (or a small video with a sound track).

    The path's own suffix is not looked at: the container is the coding's.
    """
    import av

    containers = {".m4a": "ipod", ".opus": "ogg", ".3gp": "3gp", ".mov": "mov"}
    container = containers.get(coding.suffix, coding.suffix[1:])
    rate_hz = coding.rate_hz or sample_rate_hz
    with av.open(str(path), "w", format=container) as file:
        sound = file.add_stream(coding.encoder, rate=rate_hz, layout="mono")
        assert isinstance(sound, av.AudioStream)
        if coding.bit_rate:
            sound.bit_rate = coding.bit_rate
        if coding.picture:
            _add_picture(file, samples.size / sample_rate_hz)
        resampler = av.AudioResampler(sound.format, "mono", rate_hz, sound.frame_size or 4096)
        frame = av.AudioFrame.from_ndarray(samples[None, :], format="s16", layout="mono")
        frame.sample_rate = sample_rate_hz
        frame.time_base = Fraction(1, sample_rate_hz)
        frame.pts = 0
        for piece in (*resampler.resample(frame), *resampler.resample(None)):
            file.mux(sound.encode(piece))
        file.mux(sound.encode(None))


def _add_picture(file: object, duration_s: float) -> None:
    """A small grey film as long as the sound, ten frames a second."""
    import av

    assert isinstance(file, av.container.OutputContainer)
    film = file.add_stream("mpeg4", rate=10)
    assert isinstance(film, av.VideoStream)
    film.width, film.height, film.pix_fmt = 64, 48, "yuv420p"
    for number in range(max(1, int(duration_s * 10))):
        grey = np.full((48, 64, 3), 90 + number % 40, np.uint8)
        picture = av.VideoFrame.from_ndarray(grey, format="rgb24")
        picture.pts = number
        file.mux(film.encode(picture))
    file.mux(film.encode(None))
