import io
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from analysis.errors import ToothbeatError
from listen.live.letters import large
from listen.live.portaudio import MicrophoneError
from listen.live.sounds import (
    FASTER,
    GOOD,
    MELODIES,
    RATE_HZ,
    SLOWER,
    TICK_HZ,
    TICK_LEVEL,
    TICK_S,
    melody,
    tick,
)
from listen.live.speaker import Speaker
from listen.live.telling import HEADLINES
from listen.live.terminal import Terminal
from listen.live.told import Cue, PassTold
from tests.listen.live.fake_sounddevice import PortAudioError, install
from tests.listen.live.stub_engine import cuts
from tests.listen.live.test_coach import BENCH, coached

DEVICES = [("Headphones", 0)]


def rhythm(notes: tuple[tuple[float, float], ...]) -> list[float]:
    return [length_s for pitch_hz, length_s in notes if pitch_hz]


def test_faster_slower_and_good_differ_in_number_of_notes_and_in_pitch() -> None:
    """Either alone must do: one may be heard without the other in a noisy shop."""
    for one, other in combinations((FASTER, SLOWER, GOOD), 2):
        assert len(rhythm(one)) != len(rhythm(other))
        highest = [max(pitch for pitch, _ in notes) for notes in (one, other)]
        assert max(highest) / min(highest) >= 4 / 3


def test_every_cue_has_a_sound_and_a_word() -> None:
    assert set(MELODIES) == set(HEADLINES) == set(Cue)


def test_sounds_start_and_end_softly_and_never_clip() -> None:
    for notes in MELODIES.values():
        sound = melody(notes)
        assert abs(sound[0]) < 0.01
        assert abs(sound[-1]) < 0.01
        assert np.abs(sound).max() <= 0.5
        assert len(sound) / RATE_HZ < 1.0


def test_a_tick_is_soft_short_and_one_tone() -> None:
    sound = tick(last=False)
    assert len(sound) == round(TICK_S * RATE_HZ)
    assert np.abs(sound).max() <= TICK_LEVEL
    spectrum = np.abs(np.fft.rfft(sound, RATE_HZ)) ** 2
    # A Hann window's main lobe is 4 bins of 1 / length wide.
    near = slice(round(TICK_HZ - 2 / TICK_S), round(TICK_HZ + 2 / TICK_S))
    assert spectrum[near].sum() / spectrum.sum() > 0.999


def test_the_speaker_plays_at_the_set_time_across_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    streams = install(monkeypatch, DEVICES)
    with Speaker() as speaker:
        speaker.play((np.arange(1, 6) / 10).astype(np.float32), in_s=3 / RATE_HZ)
        speaker.play(np.ones(5, np.float32), in_s=-0.1)
        heard = []
        for _ in range(3):
            out = np.full((4, 1), 9, np.float32)
            streams[0].options["callback"](out, 4, None, None)
            heard += out[:, 0].tolist()
    np.testing.assert_allclose(heard, [0, 0, 0, 0.1, 0.2, 0.3, 0.4, 0.5, 0, 0, 0, 0], atol=1e-7)


def test_hush_drops_what_was_still_to_come(monkeypatch: pytest.MonkeyPatch) -> None:
    streams = install(monkeypatch, DEVICES)
    with Speaker() as speaker:
        speaker.play(np.ones(4, np.float32), in_s=1.0)
        speaker.hush()
        out = np.zeros((2 * RATE_HZ, 1), np.float32)
        streams[0].options["callback"](out, len(out), None, None)
    assert not out.any()


def test_without_an_output_the_sentence_says_what_to_leave_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    install(monkeypatch, DEVICES, failure=PortAudioError("x", -9996))
    with pytest.raises(MicrophoneError, match="leave --sounds out"):
        Speaker()
    assert issubclass(MicrophoneError, ToothbeatError)


def test_every_headline_fits_eighty_columns_and_has_its_letters() -> None:
    for word in HEADLINES.values():
        rows = large(word).splitlines()
        assert len(rows) == 5
        assert max(map(len, rows)) <= 80
        assert sum(row.count("█") for row in rows) > 8 * len(word.replace(" ", ""))


def test_a_pipe_gets_lines_without_any_control_characters() -> None:
    out = io.StringIO()
    terminal = Terminal(out, BENCH)
    for news in coached(cuts(9.0, 3.0)):
        terminal.show(news)
    text = out.getvalue()
    assert "\x1b" not in text
    assert "\r" not in text
    assert "Pass 1: 9.0 s, 18,000 rpm, chip load 0.112 mm ± 0.001 mm." in text
    assert "Pass 2: 3.0 s" in text
    assert "2 passes: 1 in the band, 0 rubbing, 1 overloading, 0 too close to call." in text
    assert max(map(len, text.splitlines())) <= 100


def test_an_earlier_pass_that_was_heard_better_takes_one_line() -> None:
    out = io.StringIO()
    terminal = Terminal(out, BENCH)
    told, last = (news for news in coached(cuts(9.0, 3.0)) if isinstance(news, PassTold))
    terminal.show(told)
    terminal.show(last)
    before = len(out.getvalue())
    terminal.show(replace(told, again=True, aloud=False))
    assert out.getvalue()[before:] == (
        "Pass 1, heard again: Good. 9.0 s, 18,000 rpm, chip load 0.112 mm ± 0.001 mm.\n"
    )


def test_the_large_word_that_stands_at_the_end_is_the_reviews() -> None:
    """The last pass heard otherwise at the end of the take: its word is shown anew, unasked."""
    out = io.StringIO()
    terminal = Terminal(out, BENCH)
    (told,) = (news for news in coached(cuts(9.0)) if isinstance(news, PassTold))
    terminal.show(told)
    before = len(out.getvalue())
    terminal.show(replace(told, again=True, aloud=False))
    assert "█" not in out.getvalue()[before:]
    terminal.show(replace(told, cue=Cue.TOO_CLOSE, again=True, aloud=False))
    assert large(HEADLINES[Cue.TOO_CLOSE]) in out.getvalue()[before:]
    assert "Pass 1, heard again: 9.0 s" in out.getvalue()[before:]
