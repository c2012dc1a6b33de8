"""Whatever a phone or camera writes, as blocks of one-channel sound in constant memory."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import numpy as np
import numpy.typing as npt

from analysis.errors import ToothbeatError
from listen.channels import ChannelMixer

if TYPE_CHECKING:
    import av
    from av.audio.fifo import AudioFifo
    from av.audio.frame import AudioFrame
    from av.audio.stream import AudioStream
    from av.container import InputContainer

SAMPLE_RATE_RANGE_HZ = (8_000, 384_000)
HIGHEST_NEEDED_RATE_HZ = 48_000
MOST_CHANNELS = 64
LONGEST_TAKE_S = 12 * 3600

_BLOCK_SAMPLES = 16_384
_REACHABLE_PLANES = 8
# Only what holds recorded sound: no playlists, which could name other files or addresses.
_CONTAINERS = "aac,aiff,amr,asf,avi,caf,flac,matroska,webm,mov,mp4,mp3,mpegts,ogg,w64,wav"
# A float file may exceed full scale; a damaged one holds anything.
_LARGEST_SAMPLE = 16.0
# Declared and decoded lengths differ by a codec's padding; more than this is missing sound.
_MISSING_S = 0.5
# A jump in the file's own clock: more than its rounding, less than one packet.
_SHORTEST_GAP_S = 0.01


class TakeError(ToothbeatError):
    """A take that cannot be used, in one sentence with what to do."""


class Take:
    """An open recording: iterate over `blocks()` once, inside a `with`.

    Attributes
    ----------
    sample_rate_hz : int
        Rate of the blocks: the file's own, or 48,000 where that is higher.
    declared_s : float or None
        Length the file says it has, seconds.
    notes : list of str
        What was odd about the file, in sentences; complete once `blocks()` is exhausted.
    """

    def __init__(self, path: Path, container: InputContainer, track: AudioStream) -> None:
        self._path = path
        self._container = container
        self._stream = track
        rate_hz = self._stream.rate or 0
        low_hz, high_hz = SAMPLE_RATE_RANGE_HZ
        if not 1 <= self._stream.channels <= MOST_CHANNELS:
            raise TakeError(
                f'"{path.name}" holds {self._stream.channels} channels, and at most '
                f"{MOST_CHANNELS} can be mixed. Export it with fewer."
            )
        if not low_hz <= rate_hz <= high_hz:
            raise TakeError(
                f'"{path.name}" holds {rate_hz} samples a second, which is outside 8,000 to '
                "384,000. Record again with the phone's usual settings."
            )
        self.sample_rate_hz = min(rate_hz, HIGHEST_NEEDED_RATE_HZ)
        self.declared_s = _declared_s(path, container, track)
        self.notes: list[str] = []
        self._samples = 0
        self._damaged = 0

    @property
    def position_s(self) -> float:
        """How much has been decoded so far, seconds."""
        return self._samples / self.sample_rate_hz

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._container.close()

    def blocks(self) -> Iterator[npt.NDArray[np.float32]]:
        """Yield float32 blocks, shape (n,), full scale +-1.

        Where the file's own clock shows that sound was lost, silence of the same length
        stands for it, so that later times stay right; `notes` says so.

        Raises
        ------
        TakeError
            If nothing at all could be decoded.
        """
        mixer: ChannelMixer | None = None
        for planes in self._planes():
            mixer = mixer or ChannelMixer(len(planes))
            block = mixer.mix(_sane(planes))
            self._samples += len(block)
            yield block
            if self.position_s > LONGEST_TAKE_S:
                self.notes.append("Only the first twelve hours were used.")
                break
        if self._samples == 0:
            raise TakeError(
                f'No sound could be read from "{self._path.name}": it is empty or damaged. '
                "Copy it from the phone again, or make a new recording."
            )
        self._say_what_is_missing()

    def _planes(self) -> Iterator[npt.NDArray[np.float32]]:
        """Yield float32 blocks of shape (channels, n)."""
        frames = self._whole_frames()
        first = next(frames, None)
        if first is not None:
            every = chain((first,), frames)
            if _is_plain(first, self.sample_rate_hz):
                yield from _joined(every)
            else:
                yield from self._resampled(every)

    def _resampled(self, frames: Iterable[AudioFrame]) -> Iterator[npt.NDArray[np.float32]]:
        """Frames of any kind as blocks of float32."""
        import av

        resampler: av.AudioResampler | None = None
        for frame in frames:
            # One interleaved plane: PyAV's frames reach only eight separate ones.
            resampler = resampler or av.AudioResampler(
                format="flt",
                layout=frame.layout,
                rate=self.sample_rate_hz,
                frame_size=_BLOCK_SAMPLES,
            )
            # Timestamps have done their work, and a damaged file's make the resampler stumble.
            frame.pts = None
            for out in resampler.resample(frame):
                yield _channels(out)
        if resampler is not None:
            for out in resampler.resample(None):
                yield _channels(out)

    def _whole_frames(self) -> Iterator[AudioFrame]:
        """Yield frames of one shape, with a silent one wherever the file's own clock jumps."""
        first: AudioFrame | None = None
        shape: tuple[int, str, int, str] | None = None
        decoded_s = 0.0
        end_s: float | None = None
        for frame in self._frames():
            if first is None:
                first, shape = frame, _shape(frame)
            elif _shape(frame) != shape:
                self._damaged += 1
                continue
            start_s = frame.time
            if start_s is not None and end_s is not None:
                lost_s = start_s - end_s
                # No more silence than the declared length has room for: a damaged clock lies.
                room_s = (self.declared_s or 0.0) - decoded_s
                if _SHORTEST_GAP_S < lost_s <= room_s and _is_fillable(first):
                    self._damaged += 1
                    decoded_s += lost_s
                    yield _silence(first, int(lost_s * first.sample_rate))
            length_s = frame.samples / frame.sample_rate
            decoded_s += length_s
            end_s = None if start_s is None else start_s + length_s
            yield frame

    def _frames(self) -> Iterator[AudioFrame]:
        """Yield every frame that can be decoded, counting what cannot."""
        import av

        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                return
            except (av.FFmpegError, ValueError, OSError):
                self._damaged += 1
                return
            try:
                frames = packet.decode()
            except (av.FFmpegError, ValueError, OSError):
                self._damaged += 1
                continue
            yield from frames

    def _say_what_is_missing(self) -> None:
        if self._damaged:
            self.notes.append(
                "The file is damaged in places, and the sound there is lost. Copy it from the "
                "phone again if you can."
            )
        if self.declared_s is not None and self.declared_s - self.position_s > max(
            _MISSING_S, 0.01 * self.declared_s
        ):
            self.notes.append(
                f"The file says it lasts {self.declared_s:.1f} s but holds {self.position_s:.1f} "
                "s of sound: the rest is missing. What is there was used."
            )


def open_take(path: Path) -> Take:
    """Open a recording for reading.

    Reads WAV, AIFF, CAF, FLAC, MP3, AAC and ALAC in .m4a, Opus and Vorbis in .ogg or .webm,
    AMR in .3gp or .amr, and the sound track of .mp4, .mov and other videos, with 8,000 to
    384,000 samples a second and any number of channels.

    Raises
    ------
    TakeError
        If there is no such file, or it holds no sound that can be read.
    """
    import av

    _check_file(path)
    try:
        container = av.open(
            str(path),
            options={"format_whitelist": _CONTAINERS, "protocol_whitelist": "file"},
            metadata_errors="replace",
        )
    except PermissionError:
        raise _unreadable(path) from None
    except (av.FFmpegError, ValueError, OSError):
        raise TakeError(_not_sound(path)) from None
    tracks = [track for track in container.streams.audio if _has_decoder(track)]
    if container.streams.audio and not tracks:
        container.close()
        raise TakeError(
            f'"{path.name}" holds a kind of sound I can\'t decode, or is damaged. Record or '
            "export it as .m4a, .mp3, .wav or .flac."
        )
    if not tracks:
        container.close()
        raise TakeError(
            f'"{path.name}" has no sound track. Film or record again with the microphone on.'
        )
    try:
        return Take(path, container, tracks[0])
    except BaseException:
        container.close()
        raise


def _check_file(path: Path) -> None:
    try:
        if path.is_dir():
            raise TakeError(f'"{path}" is a folder. Name one recording inside it.')
        if not path.exists():
            raise TakeError(f'There is no file "{path}". Check the name and the folder.')
        if not path.is_file():
            raise TakeError(f'"{path}" is not a file that can be read from start to end.')
        if path.stat().st_size == 0:
            raise TakeError(
                f'"{path.name}" is empty. Copy it from the phone again, or record a new take.'
            )
    except (OSError, ValueError):
        raise _unreadable(path) from None


def _unreadable(path: Path) -> TakeError:
    return TakeError(f'"{path}" may not be read. Check who owns it, or copy it to your own folder.')


def _not_sound(path: Path) -> str:
    with path.open("rb") as file:
        start = file.read(12)
    looks_like_sound = start[4:8] == b"ftyp" or start[:4] in {
        b"RIFF",
        b"OggS",
        b"fLaC",
        b"FORM",
        b"caff",
    }
    if looks_like_sound:
        return (
            f'"{path.name}" is cut short or damaged, and its sound cannot be found. Copy it '
            "from the phone again, or record a new take."
        )
    return (
        f'"{path.name}" is not a sound file I can read. Use the recording as the phone wrote it: '
        ".m4a, .mp3, .wav, .flac, .ogg, .opus, .3gp, or a video with sound."
    )


def _has_decoder(track: AudioStream) -> bool:
    # PyAV leaves the context out where FFmpeg knows no decoder.
    return getattr(track, "codec_context", None) is not None


def _declared_s(path: Path, container: InputContainer, stream: AudioStream) -> float | None:
    if stream.duration is not None and stream.time_base is not None:
        declared_s = float(stream.duration * stream.time_base)
    elif container.duration is not None:
        declared_s = container.duration / 1e6
    else:
        return None
    if container.format.name == "wav":
        declared_s *= _riff_share(path)
    return declared_s if 0 < declared_s <= LONGEST_TAKE_S else None


def _riff_share(path: Path) -> float:
    """How many times longer a RIFF file says it is than it is; 1 where it does not say."""
    with path.open("rb") as file:
        size = int.from_bytes(file.read(8)[4:], "little") + 8
    # 0 and the largest number stand for "still recording".
    return max(1.0, size / path.stat().st_size) if 8 < size < 2**32 - 1024 else 1.0


def _channels(interleaved: AudioFrame) -> npt.NDArray[np.float32]:
    """Take a float frame apart: shape (channels, n)."""
    samples = interleaved.to_ndarray().reshape(-1, interleaved.layout.nb_channels)
    return samples.T.astype(np.float32)


def _is_plain(frame: AudioFrame, rate_hz: int) -> bool:
    """Whether a frame's samples can be taken as they are, which costs far less than resampling."""
    few = frame.layout.nb_channels <= _REACHABLE_PLANES
    return few and frame.format.name == "fltp" and frame.sample_rate == rate_hz


def _joined(frames: Iterable[AudioFrame]) -> Iterator[npt.NDArray[np.float32]]:
    """Plain frames of one shape as blocks of _BLOCK_SAMPLES, and the rest."""
    import av

    waiting = av.AudioFifo()
    for frame in frames:
        frame.pts = None
        waiting.write(frame)
        while waiting.samples >= _BLOCK_SAMPLES:
            yield _taken(waiting)
    if waiting.samples:
        yield _taken(waiting)


def _taken(waiting: AudioFifo) -> npt.NDArray[np.float32]:
    taken = waiting.read(_BLOCK_SAMPLES, partial=True)
    assert taken is not None
    return np.asarray(taken.to_ndarray(), np.float32)


def _is_fillable(frame: AudioFrame) -> bool:
    return frame.format.is_packed or frame.layout.nb_channels <= _REACHABLE_PLANES


def _silence(like: AudioFrame, samples: int) -> AudioFrame:
    import av

    frame = av.AudioFrame(format=like.format.name, layout=like.layout, samples=samples)
    frame.sample_rate = like.sample_rate
    for plane in frame.planes:
        plane.update(bytes(plane.buffer_size))
    return frame


def _shape(frame: AudioFrame) -> tuple[int, str, int, str]:
    layout = frame.layout
    return frame.sample_rate, frame.format.name, layout.nb_channels, layout.name


def _sane(planes: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    if np.abs(planes).max(initial=0) <= _LARGEST_SAMPLE:  # never so where there is a NaN
        return planes
    cleaned = np.nan_to_num(planes, nan=0.0, posinf=_LARGEST_SAMPLE, neginf=-_LARGEST_SAMPLE)
    return np.clip(cleaned, -_LARGEST_SAMPLE, _LARGEST_SAMPLE)
