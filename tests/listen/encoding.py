"""Writing test recordings the way phones and cameras do, through real codecs."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt

# What a file name ending stands for: container options, codec, sample format, rates it takes.
CODECS = {
    ".wav": ("pcm_s16le", "s16"),
    ".flac": ("flac", "s16"),
    ".mp3": ("libmp3lame", "fltp"),
    ".m4a": ("aac", "fltp"),
    ".alac.m4a": ("alac", "s16p"),
    ".mov": ("aac", "fltp"),
    ".mp4": ("aac", "fltp"),
    ".ogg": ("libopus", "flt"),
    ".opus": ("libopus", "flt"),
    ".webm": ("libopus", "flt"),
    ".3gp": ("libopencore_amrnb", "s16"),
    ".amr": ("libopencore_amrnb", "s16"),
    ".caf": ("pcm_s16le", "s16"),
    ".aiff": ("pcm_s16be", "s16"),
}


def encode(
    path: Path,
    samples: npt.NDArray[np.float32],
    *,
    sample_rate_hz: int,
    kind: str | None = None,
    video: bool = False,
) -> Path:
    """Write `samples`, shape (n,) or (channels, n), as the kind of file `path` ends in."""
    planes = np.atleast_2d(samples)
    codec, sample_format = CODECS[kind or "".join(path.suffixes[-2:])]
    layout = {1: "mono", 2: "stereo", 3: "2.1", 4: "quad", 6: "5.1"}[len(planes)]
    with av.open(str(path), "w") as container:
        picture = container.add_stream("mpeg4", rate=10) if video else None
        stream = container.add_stream(codec, rate=sample_rate_hz)
        assert isinstance(stream, av.AudioStream)
        stream.codec_context.layout = layout
        stream.codec_context.format = sample_format
        if codec == "libopencore_amrnb":
            stream.bit_rate = 12_200
        if picture is not None:
            assert isinstance(picture, av.VideoStream)
            picture.width, picture.height, picture.pix_fmt = 64, 48, "yuv420p"
            blank = av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), format="rgb24")
            for number in range(int(10 * planes.shape[1] / sample_rate_hz) + 1):
                blank.pts, blank.time_base = number, Fraction(1, 10)
                container.mux(picture.encode(blank))
            container.mux(picture.encode(None))
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(planes, np.float32), format="fltp", layout=layout
        )
        frame.sample_rate = sample_rate_hz
        resampler = av.AudioResampler(
            format=sample_format,
            layout=layout,
            rate=sample_rate_hz,
            frame_size=stream.codec_context.frame_size or 4096,
        )
        for out in [*resampler.resample(frame), *resampler.resample(None)]:
            container.mux(stream.encode(out))
        container.mux(stream.encode(None))
    return path
