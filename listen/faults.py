"""Recording faults in words, each with what to do about it."""

from __future__ import annotations

from analysis.hearing.faults import Fault, FaultKind

_SENTENCES = {
    FaultKind.CLIPPED: (
        "The sound is clipped: the router was too loud for the microphone. Put the phone two or "
        "three metres away, or turn the recording level down."
    ),
    FaultKind.TOO_QUIET: (
        "The recording is very quiet. Put the phone closer, still well clear of the bit and the "
        "chips, uncover its microphone, or turn the recording level up."
    ),
    FaultKind.GAIN_RIDING: (
        "The recorder moved its gain while you worked, so loudness tells little here. Use a "
        "recorder with automatic gain and noise reduction switched off, if you have one."
    ),
    FaultKind.BAND_TOO_NARROW: (
        "Only the frequencies of speech were recorded, as voice messages and calls do. Use a "
        "recorder that writes music quality: .m4a, .flac or .wav."
    ),
    FaultKind.NO_ROUTER: (
        "No router is heard in this take. Record one from switching on to switching off, with "
        "the phone one to three metres away, and tell the speeds on the router's plate."
    ),
    FaultKind.NO_CUT: (
        "The router is heard, but no cut. Make a few passes along the edge while recording, "
        "with a pause between them."
    ),
}


def fault_sentence(fault: Fault) -> str:
    """One fault as one or two sentences: what was heard, and what to do."""
    return _SENTENCES[fault.kind]
