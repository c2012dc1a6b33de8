"""A headless Chromium whose microphone is a file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from tests.live.tools import need

PHONE, LAPTOP = (390, 844), (1366, 768)


@contextmanager
def browser(
    folder: Path,
    *,
    sound: Path | None,
    size: tuple[int, int] = PHONE,
    allow: bool = True,
    extra: tuple[str, ...] = (),
) -> Iterator[webdriver.Chrome]:
    """Open a browser with a profile of its own; `sound` is played once into its microphone."""
    options = webdriver.ChromeOptions()
    options.binary_location = need("chromium")
    flags = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--autoplay-policy=no-user-gesture-required",
        "--use-fake-device-for-media-stream",
        f"--use-fake-ui-for-media-stream{'' if allow else '=deny'}",
        f"--user-data-dir={folder}",
        f"--window-size={size[0]},{size[1]}",
        *extra,
    ]
    if sound is not None:
        flags.append(f"--use-file-for-fake-audio-capture={sound}%noloop")
    for flag in flags:
        options.add_argument(flag)
    options.set_capability("acceptInsecureCerts", True)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(need("chromedriver")))
    try:
        driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size == PHONE},
        )
        yield driver
    finally:
        driver.quit()


def press(driver: webdriver.Chrome, words: str) -> None:
    """Press the button with these words on it."""
    button = WebDriverWait(driver, 10).until(
        lambda d: next(
            (b for b in d.find_elements(By.CSS_SELECTOR, "button") if b.text.strip() == words), None
        )
    )
    driver.execute_script("arguments[0].click()", button)


def wait_for(driver: webdriver.Chrome, words: str, *, seconds: float = 20) -> None:
    """Wait until the page shows these words."""
    loading = [StaleElementReferenceException]
    WebDriverWait(driver, seconds, poll_frequency=0.05, ignored_exceptions=loading).until(
        lambda d: words in d.find_element(By.TAG_NAME, "body").text
    )


def complaints(driver: webdriver.Chrome) -> list[str]:
    """What the browser's console holds of errors and warnings."""
    return [
        entry["message"]
        for entry in driver.get_log("browser")  # type: ignore[no-untyped-call]
        if entry["level"] in {"SEVERE", "WARNING"}
    ]
