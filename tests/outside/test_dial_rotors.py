"""Real machines whose speed others derived from their recordings by hand."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from analysis.dial.listening import Sound, hear_running_free

REAL = Path(__file__).parents[3] / "shared" / "real"
MANIFEST = REAL / "MANIFEST.json"
RECORDINGS = json.loads(MANIFEST.read_text()) if MANIFEST.exists() else []


@pytest.mark.skipif(not RECORDINGS, reason="the recordings in ../shared/real are not here")
def test_small_rotors_are_read_within_the_range_their_spectrum_shows() -> None:
    # Micro rotors with two blades, several at once 1 to 2 % apart (the manifest says so), so
    # the speed is a range and not a number. Open recordings, MIT licence. A take whose rotors
    # beat so that nothing stands still may be left unheard, but none may be told wrongly.
    wrong, unheard = {}, []
    for entry in RECORDINGS:
        rate_hz, samples = wavfile.read(REAL / entry["file"])
        sound = Sound((samples / 32_768).astype(np.float32), float(rate_hz))
        heard = hear_running_free((sound,), plate_range_rpm=(18_000.0, 26_000.0))
        speed_rpm = heard.tracks[0].spindle_rpm
        speed_rpm = speed_rpm[np.isfinite(speed_rpm)]
        if not len(speed_rpm):
            unheard.append(entry["file"])
            continue
        middle_rpm = float(np.median(speed_rpm))
        low_rpm, high_rpm = entry["rpm_range"]
        if not low_rpm <= middle_rpm <= high_rpm:
            wrong[entry["file"]] = middle_rpm, (low_rpm, high_rpm)
    assert not wrong
    assert len(unheard) <= 1
