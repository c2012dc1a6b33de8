"""Sound in, through the real codecs that phones and cameras use."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from listen.channels import ChannelMixer
from listen.decoding import TakeError, open_take
from tests.listen.encoding import CODECS, encode

TONE_HZ = 600.0
LEVEL = 0.3


def tone(*, sample_rate_hz: int, length_s: float = 2.0) -> npt.NDArray[np.float32]:
    time_s = np.arange(int(length_s * sample_rate_hz)) / sample_rate_hz
    return (LEVEL * np.sin(2 * np.pi * TONE_HZ * time_s)).astype(np.float32)


def decode(path: Path) -> tuple[npt.NDArray[np.float32], int, list[str]]:
    with open_take(path) as take:
        samples = np.concatenate(list(take.blocks()))
        return samples, take.sample_rate_hz, take.notes


def level_at_tone(samples: npt.NDArray[np.float32], sample_rate_hz: int) -> float:
    """Amplitude at `TONE_HZ` over the middle half, by correlation: the definition of the DFT."""
    middle = samples[len(samples) // 4 : 3 * len(samples) // 4]
    time_s = np.arange(len(middle)) / sample_rate_hz
    return float(2 * np.abs(np.mean(middle * np.exp(-2j * np.pi * TONE_HZ * time_s))))


@pytest.mark.parametrize("kind", CODECS)
def test_every_kind_of_recording_gives_the_tone_at_its_level(tmp_path: Path, kind: str) -> None:
    rate_hz = 8_000 if kind in {".3gp", ".amr"} else 48_000
    path = encode(
        tmp_path / f"take{kind}",
        tone(sample_rate_hz=rate_hz),
        sample_rate_hz=rate_hz,
        kind=kind,
        video=kind in {".mp4", ".mov"},
    )
    samples, heard_rate_hz, notes = decode(path)
    assert notes == []
    assert heard_rate_hz == rate_hz
    # A codec may pad by its frame, 1024 samples for AAC, and delay by as much again.
    assert abs(len(samples) - 2 * rate_hz) <= 2048
    # A speech codec does not keep levels; the others keep a lone tone within 1 dB (12 %).
    speech = kind in {".3gp", ".amr"}
    assert level_at_tone(samples, heard_rate_hz) == pytest.approx(
        LEVEL, rel=0.5 if speech else 0.12
    )


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000])
def test_lossless_sound_comes_through_untouched(tmp_path: Path, rate_hz: int) -> None:
    # Oracle: soundfile (libsndfile) writes, an implementation of its own.
    rng = np.random.default_rng(5)
    noise = rng.uniform(-1, 1, rate_hz).astype(np.float32)
    soundfile.write(tmp_path / "take.flac", noise, rate_hz, subtype="PCM_24")
    samples, heard_rate_hz, _ = decode(tmp_path / "take.flac")
    assert heard_rate_hz == rate_hz
    # Half a step of 24 bits, and float32's own rounding.
    np.testing.assert_allclose(samples, noise, atol=2**-24 + 2**-24, rtol=0)


@pytest.mark.parametrize("rate_hz", [88_200, 96_000, 192_000])
def test_high_rates_come_down_to_48_khz(tmp_path: Path, rate_hz: int) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(sample_rate_hz=rate_hz), rate_hz, subtype="PCM_24")
    samples, heard_rate_hz, _ = decode(path)
    assert heard_rate_hz == 48_000
    assert abs(len(samples) - 96_000) <= 64
    assert level_at_tone(samples, 48_000) == pytest.approx(LEVEL, rel=0.01)


def test_blocks_stay_small_whatever_the_length(tmp_path: Path) -> None:
    path = encode(
        tmp_path / "take.m4a",
        tone(sample_rate_hz=44_100, length_s=20),
        sample_rate_hz=44_100,
    )
    with open_take(path) as take:
        assert max(len(block) for block in take.blocks()) <= 16_384
        assert take.position_s == pytest.approx(20, abs=0.1)


def test_a_dead_channel_does_not_halve_the_signal(tmp_path: Path) -> None:
    left = tone(sample_rate_hz=48_000)
    path = encode(
        tmp_path / "take.wav", np.stack([left, np.zeros_like(left)]), sample_rate_hz=48_000
    )
    samples, rate_hz, _ = decode(path)
    assert level_at_tone(samples, rate_hz) == pytest.approx(LEVEL, rel=0.001)


def test_channels_of_opposite_phase_do_not_cancel(tmp_path: Path) -> None:
    # A second of the room's own noise first: nothing there tells how the router will arrive.
    rng = np.random.default_rng(6)
    quiet = rng.normal(0, 0.002, (2, 48_000)).astype(np.float32)
    left = tone(sample_rate_hz=48_000)
    stereo = np.concatenate([quiet, np.stack([left, -left])], axis=1)
    path = encode(tmp_path / "take.wav", stereo, sample_rate_hz=48_000)
    samples, rate_hz, _ = decode(path)
    assert level_at_tone(samples[48_000 + 16_384 :], rate_hz) == pytest.approx(LEVEL, rel=0.01)


@pytest.mark.parametrize("channels", [2, 3, 4, 6, 8, 9, 16, 64])
def test_any_number_of_channels_is_mixed(tmp_path: Path, channels: int) -> None:
    planes = np.stack([tone(sample_rate_hz=44_100)] * channels)
    soundfile.write(tmp_path / "take.wav", planes.T, 44_100)
    samples, rate_hz, _ = decode(tmp_path / "take.wav")
    assert level_at_tone(samples, rate_hz) == pytest.approx(LEVEL, rel=0.001)


@given(
    gains=st.lists(st.floats(-1, 1), min_size=1, max_size=6).filter(
        lambda gains: max(map(abs, gains)) > 0.01
    )
)
def test_however_loud_and_however_turned_the_channels_the_sound_survives(
    gains: list[float],
) -> None:
    sound = tone(sample_rate_hz=8_000, length_s=0.5)
    mixed = ChannelMixer(len(gains)).mix(np.outer(gains, sound).astype(np.float32))
    loudest = max(map(abs, gains))
    # Weights sum to one and go with loudness, so the mix lies between the mean and the loudest.
    mean = sum(map(abs, gains)) / len(gains)
    peak = np.abs(mixed).max() / np.abs(sound).max()
    assert mean * 0.999 <= peak <= loudest * 1.001


def test_samples_that_are_no_numbers_are_taken_out(tmp_path: Path) -> None:
    sound = tone(sample_rate_hz=48_000)
    sound[1000], sound[2000], sound[3000] = np.nan, np.inf, -1e30
    soundfile.write(tmp_path / "take.wav", sound, 48_000, subtype="FLOAT")
    samples, _, _ = decode(tmp_path / "take.wav")
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() <= 16


@pytest.mark.parametrize("kind", [".wav", ".flac", ".mp3", ".webm", ".aiff"])
def test_a_file_cut_short_gives_what_is_there_and_says_so(tmp_path: Path, kind: str) -> None:
    whole = encode(
        tmp_path / f"whole{kind}",
        tone(sample_rate_hz=48_000, length_s=6),
        sample_rate_hz=48_000,
    )
    data = whole.read_bytes()
    cut = tmp_path / f"cut{kind}"
    cut.write_bytes(data[: len(data) // 2])
    samples, _, notes = decode(cut)
    assert 1.5 < len(samples) / 48_000 < 4.5
    assert any("says it lasts 6.0 s but holds" in note for note in notes)


@pytest.mark.parametrize("kind", [".ogg", ".m4a"])
def test_damage_in_the_middle_keeps_the_times_after_it(tmp_path: Path, kind: str) -> None:
    rate_hz = 48_000
    sound = tone(sample_rate_hz=rate_hz, length_s=8)
    sound[: 6 * rate_hz] *= 0.05
    path = encode(tmp_path / f"take{kind}", sound, sample_rate_hz=rate_hz)
    data = bytearray(path.read_bytes())
    at = len(data) // 3
    data[at : at + 300] = bytes(300)
    path.write_bytes(data)
    samples, _, notes = decode(path)
    assert any("damaged" in note for note in notes)
    # The loud part starts at 6 s whatever was lost before it; a codec frame may blur it.
    onset_s = np.flatnonzero(np.abs(samples) > LEVEL / 2)[0] / rate_hz
    assert onset_s == pytest.approx(6.0, abs=0.05)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(TakeError, match=r'^There is no file ".*gone\.m4a"\. Check the name'):
        open_take(tmp_path / "gone.m4a")


def test_a_folder_is_no_take(tmp_path: Path) -> None:
    with pytest.raises(TakeError, match=r"is a folder\. Name one recording"):
        open_take(tmp_path)


def test_an_empty_file_is_no_take(tmp_path: Path) -> None:
    (tmp_path / "take.m4a").touch()
    with pytest.raises(TakeError, match=r'^"take\.m4a" is empty\.'):
        open_take(tmp_path / "take.m4a")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"Dear diary, today I routed a shelf.\n" * 50, "not a sound file I can read"),
        (b"%PDF-1.7\n" + bytes(500), "not a sound file I can read"),
        (b"#EXTM3U\n#EXTINF:5,\nhttp://127.0.0.1/other.mp3\n", "not a sound file I can read"),
        (b"RIFF\x24\x00\x00\x00WAVE", "cut short or damaged"),
        (b"\x00\x00\x00\x20ftypM4A \x00\x00\x00\x00", "cut short or damaged"),
    ],
    ids=["text", "pdf", "playlist", "header only", "no index"],
)
def test_what_holds_no_sound_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    (tmp_path / "take.m4a").write_bytes(content)
    with pytest.raises(TakeError, match=message):
        open_take(tmp_path / "take.m4a")


def test_a_film_without_sound_is_refused(tmp_path: Path) -> None:
    import av

    path = tmp_path / "silent.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        frame = av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), format="rgb24")
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(TakeError, match=r'"silent\.mp4" has no sound track'):
        open_take(path)


def test_a_rate_no_phone_records_at_is_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "take.wav", np.zeros(4000), 4_000)
    with pytest.raises(TakeError, match="4000 samples a second"):
        open_take(tmp_path / "take.wav")
