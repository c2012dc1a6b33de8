"""What a router's voice, learned from its dial, is worth beside a shop vacuum as loud as it.

    python -m tests.benchmarks.voice_gain --count 10

Each router is calibrated on a quiet take, then heard at work in another take beside the vacuum,
with the voice and without. Printed are the shares of frames within 0.5 % of the truth, a row for
each router. One whose calibration is refused has no voice to keep.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import click
import numpy as np
import numpy.typing as npt

from analysis.hearing.listener import Listener
from analysis.hearing.voice import Voices
from recordings_synthetic.calibration import plateaus_from
from recordings_synthetic.drawing import draw_take, seed_of
from recordings_synthetic.machines import vacuum
from recordings_synthetic.ranges import RANGES
from recordings_synthetic.render import Rendering, render
from recordings_synthetic.truth import truth
from tests.benchmarks.dial_accuracy import (
    NEAR,
    SPLITS,
    as_sound,
    hear_dial,
    made_of,
    settings_of,
)

KEPT = 0.99


class Share(NamedTuple):
    """Share of frames within 0.5 % for one router, without its voice and with it."""

    without: float
    known: float | None


def voice_gain(split: str, count: int, first_seed: int) -> Iterator[Share]:
    """What the voice is worth beside a vacuum, for each router."""
    for index in range(count):
        seed = seed_of(split, first_seed, index)
        loud = draw_take(split, "passes", "hard", seed)
        # The same router on a better day: its voice and its plate in another take's recording.
        base = replace(
            draw_take(split, "passes", "moderate", seed),
            voice=loud.voice,
            plate_range_rpm=loud.plate_range_rpm,
        )
        quiet = replace(plateaus_from(base, seed=seed, order="rising"), machines=())
        rendered = render(quiet)
        heard = hear_dial(as_sound(rendered), quiet.plate_range_rpm)
        made = made_of(heard, settings_of(truth(rendered)["plateaus"]))
        rng = np.random.default_rng(seed)
        beside = replace(vacuum(rng, RANGES[split]["hard"], 20.0), level_db=0.0)
        take = render(replace(loud, machines=(beside,)))
        known = _near(take, made.voices) if made is not None else None
        yield Share(_near(take, None), known)


def _near(take: Rendering, voices: Voices | None) -> float:
    listener = Listener(
        sample_rate_hz=take.plan.sample_rate_hz,
        flutes=take.plan.bit.flutes,
        plate_range_rpm=take.plan.plate_range_rpm,
        known_voices=voices,
    )
    listener.feed(as_sound(take).samples)
    track = listener.finish().track
    spindle = truth(take)["spindle"]
    true_rpm: npt.NDArray[np.float64] = np.array(
        [np.nan if rpm is None else rpm for rpm in spindle["rpm"]], float
    )
    running = np.array([state == "running" for state in spindle["state"]])
    place = np.minimum(np.searchsorted(spindle["time_s"], track.time_s), len(true_rpm) - 1)
    wanted = running[place] & np.isfinite(true_rpm[place])
    off = np.abs(track.spindle_rpm / true_rpm[place] - 1)
    return float(np.mean(off[wanted] < NEAR))


@click.command()
@click.option("--count", default=10, show_default=True, help="Routers of each split.")
@click.option("--seed", default=1, show_default=True, help="First seed; 0 was developed on.")
def main(count: int, seed: int) -> None:
    """Print the table."""
    print(f"{'':>9}  router  without  with the voice")
    every = []
    for split in SPLITS:
        for number, share in enumerate(voice_gain(split, count, seed)):
            told = "not calibrated" if share.known is None else f"{100 * share.known:>14.1f}"
            print(f"{split:>9}  {number:>6}  {100 * share.without:>7.1f}  {told}", flush=True)
            every.append(share)
    with_voice = [share for share in every if share.known is not None]
    without, known = (np.array([share[i] for share in with_voice], float) for i in (0, 1))
    print(
        f"{len(with_voice)} of {len(every)} calibrated; of these without the voice "
        f"{100 * without.mean():.1f} % of frames, {np.sum(without >= KEPT)} keep 99 %; with it "
        f"{100 * known.mean():.1f} %, {np.sum(known >= KEPT)} keep 99 %."
    )


if __name__ == "__main__":
    main()
