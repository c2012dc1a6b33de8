"""Real rotors, whose speed is known from their recordings' spectra and their thrust command."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from analysis.hearing.listener import Listener

REAL = Path(__file__).parents[3] / "shared" / "real"
MANIFEST = REAL / "MANIFEST.json"
RECORDINGS = json.loads(MANIFEST.read_text()) if MANIFEST.exists() else []


@pytest.mark.skipif(not RECORDINGS, reason="the recordings in ../shared/real are not here")
def test_small_rotors_turn_at_the_speed_that_is_known_of_them() -> None:
    # Open recordings of micro rotors (MIT licence), several at once 1 to 2 % apart, so that
    # the manifest gives a range of speeds. Two blades: twice the speed would be tooth-pass taken
    # for rotation. The range given is wider than any plate's, and holds half of most speeds.
    wrong = {}
    for entry in RECORDINGS:
        rate_hz, samples = wavfile.read(REAL / entry["file"])
        listener = Listener(sample_rate_hz=rate_hz, plate_range_rpm=(8_000, 35_000))
        listener.feed((samples / 32_768).astype(np.float32))
        speed_rpm = listener.finish().track.spindle_rpm
        low_rpm, high_rpm = entry["rpm_range"]
        heard_rpm = float(np.nanmedian(speed_rpm)) if np.isfinite(speed_rpm).any() else np.nan
        if not low_rpm <= heard_rpm <= high_rpm:
            wrong[entry["file"]] = heard_rpm, (low_rpm, high_rpm)
    assert not wrong
