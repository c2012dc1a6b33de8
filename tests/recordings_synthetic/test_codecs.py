"""Real encoders: the sound comes back as long as it went in, at the same pitch."""

from pathlib import Path

import numpy as np
import pytest

from recordings_synthetic.codecs import CODINGS, encode

RATE = 44_100
SECONDS = 3.0


@pytest.mark.parametrize("name", list(CODINGS))
def test_duration_and_pitch_survive(name: str, tmp_path: Path) -> None:
    import av

    coding = CODINGS[name]
    time_s = np.arange(int(SECONDS * RATE)) / RATE
    tone = (8000 * np.sin(2 * np.pi * 750 * time_s)).astype(np.int16)
    path = tmp_path / f"tone{coding.suffix}"
    encode(tone, RATE, path, coding)
    with av.open(str(path)) as file:
        sound = file.streams.audio[0]
        rate = sound.rate
        blocks = [frame.to_ndarray().astype(float) for frame in file.decode(sound)]
        assert bool(file.streams.video) == coding.picture
    samples = np.concatenate([block.reshape(block.shape[0], -1)[0] for block in blocks])
    # An encoder adds at most a few frames of 1024 to 1152 samples (at 8 kHz, of 160).
    assert samples.size / rate == pytest.approx(SECONDS, abs=3 * 1152 / RATE)
    middle = samples[rate : 2 * rate]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(middle.size)))
    assert np.argmax(spectrum) * rate / middle.size == pytest.approx(750, abs=1.0)


@pytest.mark.parametrize("name", ["wav", "flac", "alac"])
def test_lossless_codings_lose_nothing(name: str, tmp_path: Path) -> None:
    import av

    coding = CODINGS[name]
    samples = np.random.default_rng(1).integers(-20_000, 20_000, RATE).astype(np.int16)
    path = tmp_path / f"noise{coding.suffix}"
    encode(samples, RATE, path, coding)
    with av.open(str(path)) as file:
        resampler = av.AudioResampler("s16", "mono", RATE)
        pieces = [
            piece.to_ndarray()[0]
            for frame in file.decode(file.streams.audio[0])
            for piece in resampler.resample(frame)
        ]
    assert np.array_equal(np.concatenate(pieces), samples)
