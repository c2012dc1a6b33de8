"""Real machines whose speed others derived from their recordings by hand."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from analysis.dial.calibration import plateaus_heard
from analysis.dial.listening import Sound, hear_running_free

REAL = Path(__file__).parents[3] / "shared" / "real"
MANIFEST = REAL / "MANIFEST.json"
RECORDINGS = json.loads(MANIFEST.read_text()) if MANIFEST.exists() else []


@pytest.mark.skipif(not RECORDINGS, reason="the recordings in ../shared/real are not here")
def test_small_rotors_are_read_within_the_range_their_spectrum_shows() -> None:
    # Micro rotors with two blades, several at once 1 to 2 % apart (the manifest says so), so
    # the speed is a range and not a number. One open recording each, MIT licence.
    outside = {}
    for entry in RECORDINGS:
        rate_hz, samples = wavfile.read(REAL / entry["file"])
        sound = Sound((samples / 32_768).astype(np.float32), float(rate_hz))
        heard = hear_running_free((sound,), plate_range_rpm=(15_000.0, 28_000.0))
        track = heard.tracks[0]
        speed = float(np.nanmedian(track.spindle_rpm))
        low_rpm, high_rpm = entry["rpm_range"]
        if not low_rpm * 0.998 <= speed <= high_rpm * 1.002:
            outside[entry["file"]] = speed, (low_rpm, high_rpm)
        plateaus_heard(heard)
    assert not outside
