"""The page in a real browser whose microphone is a file: localhost, and a phone over TLS."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import resample_poly
from selenium import webdriver
from selenium.webdriver.common.by import By

import recordings_synthetic
from listen.cli import run
from listen.live.telling import HEADLINES
from tests.listen.live.stub_engine import cuts, scene
from tests.listen.page.serving import SETUP
from tests.live.browser import LAPTOP, PHONE, browser, complaints, press, wait_for
from tests.live.page_server import page_in_thread

pytestmark = pytest.mark.live

FILE_RATE_HZ = 44_100


def microphone_file(path: Path, sound: np.ndarray) -> Path:
    """A file for the fake device, which runs at 44.1 kHz; its first moments may be lost."""
    played = resample_poly(np.concatenate([scene((0.05, 1.0)), sound]), 147, 160)
    wavfile.write(path, FILE_RATE_HZ, (np.clip(played, -1, 1) * 32767).astype(np.int16))
    return path


def tell_the_job(driver: webdriver.Chrome) -> None:
    """Fill in what is cut, and keep it, as a person does."""
    wait_for(driver, "What are you cutting?")
    for name in ("edge", "bit", "flutes", "trim"):
        driver.find_element(By.NAME, name).send_keys(SETUP[name])
    driver.execute_script(
        "document.querySelector('[name=material]').value = arguments[0]", SETUP["material"]
    )
    press(driver, "Keep and plan")


def end_is_in_sight(driver: webdriver.Chrome) -> bool:
    """Whether the take can be ended without scrolling under the longest verdict there is."""
    return bool(
        driver.execute_async_script(
            """
            const done = arguments[1];
            import("/static/verdict.js").then(({ panel }) => {
              const longest = panel("down", "Turn down", ["to", "17,000 rpm"], arguments[0]);
              document.querySelector(".verdict").replaceWith(longest);
              const end = document.getElementById("end").getBoundingClientRect();
              const tabs = document.querySelector("nav").getBoundingClientRect();
              done(end.bottom <= tabs.top);
            });
            """,
            "Pass 1: 20 s. Rubbing: turn down first, to about 17,000 rpm, then aim for 6 to 12 s "
            "(you took 18 s on the move). You stopped for 1.3 s at about 278 mm: burn risk.",
        )
    )


def read_aloud(driver: webdriver.Chrome) -> str:
    """What a screen reader was last given to say."""
    return str(
        driver.execute_script(
            "return document.querySelector('#aloud[aria-live=assertive]').textContent"
        )
    )


def test_the_whole_job_on_this_computer(tmp_path: Path) -> None:
    sound = microphone_file(tmp_path / "take.wav", cuts(7.0, 2.0))
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=sound, size=LAPTOP) as driver,
    ):
        driver.get(server.page.here + "/")
        tell_the_job(driver)
        wait_for(driver, "Before the cut")
        wait_for(driver, "15,500 rpm")
        press(driver, "On to the passes")
        press(driver, "Start listening")
        wait_for(driver, "End the take")
        # Who works by keyboard waits here.
        driver.execute_script("document.getElementById('end').focus()")
        wait_for(driver, "Good")
        assert read_aloud(driver).startswith("Good. aim for ")
        wait_for(driver, "Slower")
        assert read_aloud(driver).startswith("Slower. aim for ")
        assert driver.execute_script("return document.activeElement.id") == "end"
        wait_for(driver, "Pass 2:")
        press(driver, "End the take")
        wait_for(driver, "The take is kept")
        press(driver, "Look back")
        wait_for(driver, "2 passes heard live, 1 good")
        assert complaints(driver) == []
    assert (tmp_path / "home" / "benches" / "here.json").is_file()


def test_a_phone_is_let_in_by_the_code_and_coached_over_tls(tmp_path: Path) -> None:
    sound = microphone_file(tmp_path / "take.wav", cuts(7.0))
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=sound, size=PHONE) as driver,
    ):
        house = server.page.page.house
        driver.get(f"{server.page.phone}/")
        wait_for(driver, "not let in yet")
        driver.get("about:blank")
        driver.get(f"{house.phone_url}#{house.pairing.secret}")
        wait_for(driver, "What are you cutting?")
        assert "Use a phone" not in driver.find_element(By.TAG_NAME, "body").text
        tell_the_job(driver)
        press(driver, "On to the passes")
        press(driver, "Start listening")
        wait_for(driver, "Good")
        assert end_is_in_sight(driver)
        press(driver, "End the take")
        wait_for(driver, "The take is kept")
        (take,) = house.shelf.takes()
        assert take.about["owner"] != "here"
        assert complaints(driver) == []


def test_a_microphone_that_is_not_allowed_is_told_and_a_file_is_offered(tmp_path: Path) -> None:
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=None, allow=False) as driver,
    ):
        driver.get(server.page.here + "/#passes")
        press(driver, "Start listening")
        wait_for(driver, "The microphone was not allowed")
        wait_for(driver, 'bring the file under "A file"')


def test_the_link_breaks_in_a_pass_and_the_pass_is_judged(tmp_path: Path) -> None:
    """The page holds the sound while the link is down and sends it when it is back."""
    sound = microphone_file(tmp_path / "take.wav", cuts(9.0))
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=sound) as driver,
    ):
        driver.get(server.page.here + "/")
        tell_the_job(driver)
        press(driver, "On to the passes")
        press(driver, "Start listening")
        wait_for(driver, "Cutting")
        told = False
        until_s = time.monotonic() + 3
        while time.monotonic() < until_s or (not told and time.monotonic() < until_s + 6):
            server.in_loop(server.page.cut_off)
            time.sleep(0.1)
            told = told or "reconnecting" in driver.find_element(By.TAG_NAME, "body").text
        assert told
        wait_for(driver, "Good", seconds=30)
        (session,) = server.page.page.house.sessions._open.values()
        assert not [news for _, news in session._told if news["kind"] == "notice"]


def test_where_the_socket_is_refused_posts_carry_the_sound(tmp_path: Path) -> None:
    sound = microphone_file(tmp_path / "take.wav", cuts(7.0))
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=sound) as driver,
    ):
        driver.execute_cdp_cmd(
            "Page.addScriptToEvaluateOnNewDocument",
            {
                "source": "window.WebSocket = class { constructor() { setTimeout(() =>"
                " this.onclose(), 5); } close() {} }; window.WebSocket.OPEN = 1;"
            },
        )
        driver.get(server.page.here + "/")
        tell_the_job(driver)
        press(driver, "On to the passes")
        press(driver, "Start listening")
        wait_for(driver, "Good", seconds=30)
        press(driver, "End the take")
        wait_for(driver, "The take is kept")


def test_a_file_is_brought_and_what_is_wrong_with_one_is_told(tmp_path: Path) -> None:
    notes = tmp_path / "notes.wav"
    notes.write_text("not a recording")
    sound = Path(recordings_synthetic.__file__).parent / "takes" / "3-in-a-hurry.m4a"
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=None, size=LAPTOP) as driver,
    ):
        driver.get(server.page.here + "/#file")
        wait_for(driver, "Nothing is told of the cut yet")
        press(driver, "Tell what you cut")
        tell_the_job(driver)
        wait_for(driver, "Before the cut")
        driver.execute_script("document.querySelector('[data-tab=file]').click()")
        wait_for(driver, "600 mm edge")
        # A computer has no recorder to offer.
        (pick,) = driver.find_elements(By.CSS_SELECTOR, "input[type=file]")
        label = driver.find_element(By.CSS_SELECTOR, ".filepick")
        pick.send_keys(str(notes))
        wait_for(driver, '"notes.wav" is not a sound file', seconds=60)
        pick.send_keys(str(sound))
        wait_for(driver, "Listening to it")
        assert not label.is_displayed()  # one at a time
        assert driver.find_element(By.TAG_NAME, "progress").is_displayed()
        wait_for(driver, "The whole review", seconds=60)
        assert label.is_displayed()
        driver.execute_script("document.querySelector('[data-tab=past]').click()")
        wait_for(driver, 'the file "3-in-a-hurry.m4a", 600 mm edge')
        assert complaints(driver) == []


def test_every_control_has_a_name_and_a_gloved_thumbs_size(tmp_path: Path) -> None:
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=None) as driver,
    ):
        for tab in ("job", "passes", "dial", "file", "past"):
            driver.get(server.page.here + "/")
            driver.execute_script(f"document.querySelector('[data-tab={tab}]').click()")
            wait_for(driver, "")
            small = driver.execute_script(
                "return [...document.querySelectorAll('button, input, select')]"
                ".filter(n => n.offsetParent && n.getBoundingClientRect().height < 56)"
                ".map(n => n.outerHTML)"
            )
            assert small == []
            nameless = driver.execute_script(
                "return [...document.querySelectorAll('button, input, select, progress, meter')]"
                ".filter(n => !(n.innerText || n.getAttribute('aria-label') || n.closest('label')"
                "?.textContent || '').trim()).map(n => n.outerHTML)"
            )
            assert nameless == []
            assert driver.execute_script(
                "return document.documentElement.scrollWidth <= innerWidth"
            ), tab


LONGEST = (
    "Rubbing, and no hand can feed fast enough at this allowance and speed: leave a little more "
    "to trim, or use a bit with fewer flutes."
)


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
@pytest.mark.parametrize(
    "warning", ["", "Too loud for the microphone: put it two or three metres away."]
)
def test_every_verdict_fits_the_screen_and_fills_it(
    tmp_path: Path, size: tuple[int, int], warning: str
) -> None:
    with (
        page_in_thread(tmp_path / "home") as server,
        browser(tmp_path / "profile", sound=None, size=size) as driver,
    ):
        driver.get(server.page.here + "/")
        wait_for(driver, "What are you cutting?")
        for cue, headline in HEADLINES.items():
            word_px, right, bottom, width, height = driver.execute_async_script(
                """
                const [cue, headline, advice, warning, done] = arguments;
                Promise.all([import("/static/verdict.js"), import("/static/dom.js")]).then(
                  ([{ passPanel }, { el, say, show }]) => {
                    say(warning);
                    const pass = { number: 10, cue, headline, advice, time: "8.0 s",
                      aim: "5.5 to 6.5 s", turn_to_rpm: 16000 };
                    show(el("div", { class: "stage live" }, passPanel(pass)));
                    const boxes = [...document.querySelectorAll(".verdict, .verdict *")]
                      .map((node) => node.getBoundingClientRect());
                    done([parseFloat(getComputedStyle(document.querySelector(".word")).fontSize),
                      Math.max(...boxes.map((box) => box.right)),
                      Math.max(...boxes.map((box) => box.bottom)), innerWidth, innerHeight]);
                  });
                """,
                cue.value,
                headline,
                LONGEST,
                warning,
            )
            assert right <= width, headline
            assert bottom <= height - (90 if size == PHONE else 0), headline  # the tabs' height
            # To be read from two metres a capital is 6 mm high or more: 1 in 300 or so of the
            # distance, common practice for signs. A phone's CSS pixel is 0.16 mm.
            assert word_px * 0.7 * 0.16 >= 6, headline


def test_the_review_is_read_on_a_phone_without_moving_it_sideways(tmp_path: Path) -> None:
    file = Path(recordings_synthetic.__file__).parent / "takes" / "3-in-a-hurry.m4a"
    report = tmp_path / "review.html"
    options = [f"--{name}={value}" for name, value in SETUP.items()]
    assert run(["review", str(file), *options, f"--report={report}", "--quiet"]) == 0
    with browser(tmp_path / "profile", sound=None, size=PHONE) as driver:
        driver.get(report.as_uri())
        assert driver.execute_script("return document.documentElement.scrollWidth") == PHONE[0]
