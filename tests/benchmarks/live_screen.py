"""From the end of a pass to the verdict on the screen: a browser with a take for a microphone.

    python -m recordings_synthetic takes --split dev --kind passes
    python -m tests.benchmarks.live_screen takes/*.wav

Each take is played once at this computer's own page, at a laptop's size, and once over TLS, at a
phone's. The page's clock tells when each sample was handed over and when the verdict was painted;
the exits are those of the take's truth, set against the take as it was heard by their median. What
a real microphone and its driver hold back comes on top. Told beside it: the part that is sound
waited for, how old the speed was, and how busy the machine is, for the browser needs it too.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.io import wavfile
from scipy.signal import resample_poly
from selenium.webdriver.common.by import By

from listen.live.ear import EarsAtHand
from tests.live.browser import LAPTOP, PHONE, browser, press, wait_for
from tests.live.page_server import page_in_thread

RATE_HZ = 44_100  # of the browser's fake microphone
NEAR_S = 0.3
AFTER_S = 2.0
WATCH = """
window.bench = { frames: [], told: [], speeds: [], painted: [] };
const now = () => Date.now() / 1000;
window.WebSocket = class extends WebSocket {
  constructor(...at) {
    super(...at);
    this.addEventListener("message", (event) => {
      const news = JSON.parse(event.data);
      if (news.kind === "pass" && !news.again) bench.told.push({ at: now(), ...news });
      if (news.kind === "speed") bench.speeds.push([now(), news.time_s]);
    });
  }
  send(data) {
    if (data instanceof ArrayBuffer) {
      const head = new DataView(data);
      const end = head.getFloat64(8, true) + head.getUint32(4, true);
      bench.frames.push([end, head.getFloat64(16, true)]);
    }
    super.send(data);
  }
};
addEventListener("DOMContentLoaded", () => {
  let last = "";
  new MutationObserver(() => {
    const shown = document.querySelector(".verdict .why")?.textContent.match(/^Pass (\\d+)/);
    if (shown && shown[0] !== last) {
      const after = new MessageChannel();
      after.port1.onmessage = () => bench.painted.push([Number(shown[1]), now()]);
      requestAnimationFrame(() => after.port2.postMessage(0));
    }
    last = shown?.[0] ?? "";
  }).observe(document.body, { childList: true, subtree: true });
});
"""


def main(takes: Sequence[Path]) -> None:
    """Print a row for each take and way, then all together."""
    late_s, ages_s = list[float](), list[float]()
    for take in takes:
        for over_tls in (False, True):
            truth = json.loads(take.with_suffix(".json").read_text())
            seen = watched(take, truth["setup"], over_tls=over_tls)
            late, sound, ages = measured(seen, [p["exit_s"] for p in truth["passes"]])
            late_s, ages_s = [*late_s, *late], [*ages_s, *ages]
            where = "over TLS" if over_tls else "localhost"
            print(f"{take.stem:36} {where}  {len(late)} passes  {told(late)}  of which sound "
                  f"{told(sound)}  speed's age {told(ages)}  load {os.getloadavg()[0]:.1f}",
                  flush=True)  # fmt: skip
    print(f"all {len(late_s)} passes: {told(late_s)}; speed's age {told(ages_s)}")


def told(values: Sequence[float]) -> str:
    """Middle, 95th percentile and largest, seconds."""
    middle, most = np.percentile(values, [50, 95])
    return f"p50 {middle:.2f} p95 {most:.2f} max {max(values):.2f} s"


def watched(take: Path, setup: dict[str, Any], *, over_tls: bool) -> dict[str, Any]:
    """Practise with a take on the page; what the page noted of when things came."""
    low_rpm, high_rpm = setup["plate_range_rpm"]
    form = {
        "edge": f"{setup['edge_length_mm']}mm", "bit": f"{setup['bit_diameter_mm']}mm",
        "flutes": str(setup["flutes"]), "trim": f"{setup['trim_allowance_mm']}mm",
        "range": f"{low_rpm:.0f}-{high_rpm:.0f}",
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as work:
        length_s = played(take, Path(work) / "take.wav")
        with (
            EarsAtHand() as ears,
            page_in_thread(Path(work) / "home", make_ear=ears) as server,
            browser(
                Path(work) / "profile",
                sound=Path(work) / "take.wav",
                size=PHONE if over_tls else LAPTOP,
            ) as driver,
        ):
            driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
            house = server.page.page.house
            paired = f"{house.phone_url}#{house.pairing.secret}"
            driver.get(paired if over_tls else server.page.here + "/")
            wait_for(driver, "What are you cutting?")
            driver.execute_script(
                "document.querySelector('details').open = true;"
                "document.querySelector('[name=material]').value = arguments[0]",
                setup["material"],
            )
            for name, value in form.items():
                driver.find_element(By.NAME, name).send_keys(value)
            press(driver, "Keep and plan")
            wait_for(driver, "Before the cut")
            driver.execute_script("document.querySelector('[data-tab=passes]').click()")
            press(driver, "Start listening")
            time.sleep(length_s + AFTER_S)
            seen: dict[str, Any] = driver.execute_script("return bench")
            press(driver, "End the take")
            wait_for(driver, "The take is kept")
    return seen


def played(take: Path, path: Path) -> float:
    """Write a take as the browser's microphone plays it; its length, seconds."""
    rate_hz, sound = wavfile.read(take)
    step = np.gcd(rate_hz, RATE_HZ)
    sound = resample_poly(sound / 32768, RATE_HZ // step, rate_hz // step)
    wavfile.write(path, RATE_HZ, (np.clip(sound, -1, 1) * 32767).astype(np.int16))
    return len(sound) / RATE_HZ


def measured(
    seen: dict[str, Any], exits_s: Sequence[float]
) -> tuple[list[float], list[float], list[float]]:
    """Exit to screen, the sound waited for in it, and the ages of the speed, seconds.

    Only first tellings of passes that end where one truly ends.
    """
    heard_s = np.array([news["exit_s"] for news in seen["told"]])
    apart = heard_s[:, None] - np.array(exits_s)
    # The take began at some moment of the file: the one with which most exits agree.
    shift_s = max(apart.flat, key=lambda by: np.count_nonzero(np.abs(apart - by) < NEAR_S))
    shift_s = float(np.median(apart[np.abs(apart - shift_s) < NEAR_S]))
    ends, at = np.array(seen["frames"]).T
    began = float(np.min(at - ends / RATE_HZ))
    late, sound = [], []
    for news in seen["told"]:
        true_s = shift_s + min(exits_s, key=lambda exit_s: abs(exit_s + shift_s - news["exit_s"]))
        shown = [when for number, when in seen["painted"]
                 if number == news["number"] and when >= news["at"] - 0.01]  # fmt: skip
        if abs(true_s - news["exit_s"]) < NEAR_S and shown:
            late.append(shown[0] - began - true_s)
            sound.append(news["told_s"] - true_s)
    return late, sound, [when - began - time_s for when, time_s in seen["speeds"]]


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
