import itertools
import sys
from collections.abc import Iterator

import numpy as np
import pytest

from listen.live import microphone as module
from listen.live.microphone import (
    Device,
    Microphone,
    MicrophoneLostError,
    choose_device,
    input_devices,
)
from listen.live.portaudio import MicrophoneError
from tests.listen.live.fake_sounddevice import PortAudioError, install

DEVICES = [("Built-in", 2), ("Loudspeaker", 0), ("USB desk microphone", 1), ("USB camera", 1)]


def device(number: int = 0) -> Device:
    return Device(number, DEVICES[number][0], DEVICES[number][1], 44_100.0, is_default=number == 0)


def test_only_inputs_are_offered_and_the_default_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    install(monkeypatch, DEVICES, default=2)
    assert [(d.index, d.is_default) for d in input_devices()] == [(0, False), (2, True), (3, False)]


def test_a_device_is_chosen_by_default_number_or_part_of_its_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    install(monkeypatch, DEVICES, default=2)
    devices = input_devices()
    assert choose_device(None, devices).index == 2
    assert choose_device("3", devices).index == 3
    assert choose_device("desk", devices).index == 2
    assert choose_device(None, devices[:1]).index == 0


@pytest.mark.parametrize(
    ("wanted", "words"),
    [("usb", 'Several microphones fit "usb"'), ("1", 'No microphone fits "1"'), ("x", "No micro")],
)
def test_a_wish_that_fits_none_or_several_lists_what_there_is(
    monkeypatch: pytest.MonkeyPatch, wanted: str, words: str
) -> None:
    install(monkeypatch, DEVICES)
    with pytest.raises(MicrophoneError, match=words) as told:
        choose_device(wanted, input_devices())
    assert "  2  USB desk microphone" in str(told.value)


def test_no_microphone_at_all_is_told_with_what_to_do() -> None:
    with pytest.raises(
        MicrophoneError, match=r"No microphone was found: none is plugged.*holds it.*--phone"
    ):
        choose_device(None, [])


def test_without_the_library_the_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    class Absent:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Absent(), *sys.meta_path])
    with pytest.raises(MicrophoneError, match="apt install libportaudio2"):
        input_devices()


@pytest.mark.parametrize(
    ("failure", "words"),
    [
        (PortAudioError("Device unavailable", -9985), "in use by another program"),
        (PortAudioError("Unanticipated host error", -9999), "in use by another program"),
        (PortAudioError("Invalid sample rate", -9997), "no sample rate"),
        (PortAudioError("Insufficient memory", -9992), "Insufficient memory"),
    ],
)
def test_a_device_that_will_not_open_says_why(
    monkeypatch: pytest.MonkeyPatch, failure: Exception, words: str
) -> None:
    install(monkeypatch, DEVICES, failure=failure)
    with pytest.raises(MicrophoneError, match=words):
        Microphone(device())


def test_the_devices_own_rate_is_taken_where_48000_will_not_do(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    install(monkeypatch, DEVICES, good_rates=(44_100,))
    with Microphone(device()) as opened:
        assert opened.sample_rate_hz == 44_100


def test_blocks_arrive_in_order_and_lost_sound_is_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    streams = install(monkeypatch, DEVICES)
    with Microphone(device()) as opened:
        for number in range(3):
            streams[0].play(np.full(4, number, np.float32), overflow=number == 2)
        pieces = list(itertools.islice(opened.pieces(), 4))
    assert [len(piece.samples) for piece in pieces] == [4, 4, 0, 4]
    assert [piece.missing_s > 0 for piece in pieces] == [False, False, True, False]
    assert [piece.samples[0] for piece in pieces if len(piece.samples)] == [0, 1, 2]
    assert streams[0].closed


def test_a_device_that_is_pulled_out_is_noticed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    streams = install(monkeypatch, DEVICES)
    with Microphone(device()) as opened:
        streams[0].play(np.zeros(4, np.float32))
        streams[0].end()
        pieces = opened.pieces()
        next(pieces)
        with pytest.raises(MicrophoneLostError, match=r"Built-in.*is kept"):
            next(pieces)


def test_a_device_that_freezes_is_noticed_by_its_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_SILENT_S", 0.05)
    streams = install(monkeypatch, DEVICES)
    with Microphone(device()) as opened:
        streams[0].play(np.zeros(4, np.float32))
        pieces: Iterator[object] = opened.pieces()
        next(pieces)
        with pytest.raises(MicrophoneLostError, match="gives no sound any more"):
            next(pieces)
