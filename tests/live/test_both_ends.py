"""A rendered take through each live path with the real engine: verdicts as in its review."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import resample_poly
from selenium.webdriver.common.by import By

import recordings_synthetic
from analysis.coaching.summary import Review, review_take
from listen.decoding import open_take
from listen.ears import hear_take
from listen.live.ear import ear_apart
from listen.live.shelf import KeptTake, Shelf
from listen.live.telling import standing_passes
from listen.page.bench_form import read_form
from tests.live.browser import PHONE, browser, press, wait_for
from tests.live.listening import Listening
from tests.live.page_server import page_in_thread
from tests.live.sound_server import sound_server

pytestmark = pytest.mark.live

TAKE = Path(recordings_synthetic.__file__).parent / "takes" / "3-in-a-hurry.m4a"
FORM = {
    "edge": "600mm", "bit": "12.7mm", "flutes": "2", "trim": "1.6mm", "material": "hardwood",
    "range": "8000-24000",
}  # fmt: skip
ENTRY_S = 0.2


def played(path: Path, *, rate_hz: int) -> Path:
    """The take as a WAV file of this rate."""
    with open_take(TAKE) as take:
        sound, from_hz = np.concatenate(list(take.blocks())), take.sample_rate_hz
    if rate_hz != from_hz:
        step = np.gcd(rate_hz, from_hz)
        sound = resample_poly(sound, rate_hz // step, from_hz // step)
    wavfile.write(path, rate_hz, (np.clip(sound, -1, 1) * 32767).astype(np.int16))
    return path


def told(take: KeptTake) -> list[dict[str, Any]]:
    """The passes that stood before the take was ended, as they were told live."""
    (ended,) = (event for event in take.events if event["kind"] == "ended")
    end_s = ended["duration_s"] - 0.1
    return standing_passes(e for e in take.events if e.get("told_s", 0.0) < end_s)


def reviewed(shelf: Shelf, take: KeptTake) -> Review:
    """The review of the very sound that was kept."""
    sound = shelf.sound(take)
    assert sound is not None
    bench = read_form(FORM)
    heard = hear_take(sound, flutes=2, plate_range_rpm=bench.cut.plate_range_rpm)
    return review_take(heard.hearing, bench.cut)


def agree(live: list[dict[str, Any]], review: Review) -> None:
    """The same passes with the same verdicts."""
    assert live
    assert [event["verdict"] for event in live] == [
        one.reading.verdict.value if one.reading.verdict else None for one in review.passes
    ]
    for event, one in zip(live, review.passes, strict=True):
        assert event["entry_s"] == pytest.approx(one.reading.entry_s, abs=ENTRY_S)
        assert event["rpm"] == pytest.approx(one.reading.spindle_rpm, rel=2e-3)


def test_by_the_computers_microphone(tmp_path: Path) -> None:
    options = [f"--{name}={value}" for name, value in FORM.items()]
    home, report = tmp_path / "home", tmp_path / "report.html"
    expected = len(json.loads(TAKE.with_suffix(".json").read_text())["passes"])
    with (
        sound_server(tmp_path / "sound") as shop,
        Listening(
            *options, f"--report={report}", "--sounds", environment=shop.environment, home=home
        ) as listening,
    ):
        listening.wait_for("Listening to", seconds=20)
        shop.play(played(tmp_path / "take.wav", rate_hz=48_000)).wait(60)
        assert listening.interrupt(seconds=60) == 0
        lines = "\n".join(listening.lines)
        assert f"{expected} passes:" in lines
    assert "<svg" in report.read_text()
    shelf = Shelf(home / "takes")
    (take,) = shelf.takes()
    agree(told(take), reviewed(shelf, take))


def test_by_a_phone_over_tls(tmp_path: Path) -> None:
    sound = played(tmp_path / "take.wav", rate_hz=44_100)
    with (
        page_in_thread(tmp_path / "home", make_ear=ear_apart) as server,
        browser(tmp_path / "profile", sound=sound, size=PHONE) as driver,
    ):
        house = server.page.page.house
        driver.get(f"{house.phone_url}#{house.pairing.secret}")
        wait_for(driver, "What are you cutting?")
        driver.execute_script("document.querySelector('details').open = true")
        for name, value in FORM.items():
            if name == "material":
                driver.execute_script(
                    "document.querySelector('[name=material]').value = arguments[0]", value
                )
            else:
                driver.find_element(By.NAME, name).send_keys(value)
        press(driver, "Keep and plan")
        press(driver, "On to the passes")
        press(driver, "Start listening")
        wait_for(driver, "Pass 3:", seconds=60)
        wait_for(driver, "no router heard", seconds=30)
        press(driver, "End the take")
        wait_for(driver, "The take is kept")
        press(driver, "Look back")
        press(driver, "Review it")
        wait_for(driver, "The whole review", seconds=60)
        (take,) = house.shelf.takes()
        agree(told(take), reviewed(house.shelf, take))
