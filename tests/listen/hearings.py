"""A hearing made by hand, with one of everything that can happen in a pass."""

import numpy as np

from analysis.coaching.reading import CutSetup
from analysis.coaching.wording import Units
from analysis.hearing.faults import Fault, FaultKind
from analysis.hearing.listener import Hearing
from analysis.hearing.overview import Overview
from analysis.hearing.passes import HeardPass, Span
from analysis.hearing.spindle import SpindleTrack
from listen.ears import HeardTake
from listen.setup import Bench

DURATION_S = 84.0
# 600 mm, 12.7 mm bit, 1.6 mm trim: thinning 0.6637, travel 604.2 mm; two flutes at 17,000 rpm
# make 566.7 teeth a second, so the chip is 0.7077/t mm: 0.051 to 0.15 mm for 13.9 to 4.7 s.
SETUP = CutSetup(
    edge_length_mm=600.0,
    bit_diameter_mm=12.7,
    flutes=2,
    trim_allowance_mm=1.6,
    material="hardwood",
    plate_range_rpm=(8_000.0, 24_000.0),
)
BENCH = Bench(cut=SETUP, units=Units.MM)


def heard_pass(
    entry_s: float,
    exit_s: float,
    *,
    dwells: tuple[Span, ...] = (),
    liftoffs: tuple[Span, ...] = (),
    complete: bool = True,
    u95_s: float = 0.08,
) -> HeardPass:
    return HeardPass(
        entry_s=entry_s,
        exit_s=exit_s,
        time_u95_s=u95_s,
        moving_time_u95_s=u95_s,
        spindle_rpm=17_000.0,
        spindle_rpm_u95=2.0,
        sag_percent=1.5,
        dwells=dwells,
        liftoffs=liftoffs,
        evenness=0.9,
        complete=complete,
    )


PASSES = (
    heard_pass(0.0, 3.0, complete=False),
    heard_pass(6.0, 24.0),  # 18 s: rubbing
    heard_pass(27.0, 35.0, dwells=(Span(30.0, 31.0),)),  # 7 s moving: in the band
    heard_pass(38.0, 52.0, u95_s=0.5),  # 14 s, near the lower limit: unsure
    heard_pass(55.0, 59.0),  # 4 s: overloading
    heard_pass(62.0, 71.5, liftoffs=(Span(65.0, 65.5),)),  # 9 s moving: in the band
)
VERDICTS = [None, "rubbing", "in the band", "unsure", "overloading", "in the band"]


def hearing(*, passes: tuple[HeardPass, ...] = PASSES, faults: tuple[Fault, ...] = ()) -> Hearing:
    step_s = 0.046875
    time_s = np.arange(0, DURATION_S, step_s)
    cutting = np.zeros(len(time_s), bool)
    for one in passes:
        cutting |= (time_s >= one.entry_s) & (time_s <= one.exit_s)
    running = time_s < 80
    speed_rpm = np.where(running, np.where(cutting, 17_000.0, 17_260.0), np.nan)
    frequency_hz = np.arange(26.0, 10_000.0, 53.3)
    rows = -50 + 25 * np.exp(-(((frequency_hz[None, :] / 575) % 1) ** 2) / 0.02)
    level_db = np.where(running[:, None], rows + 10 * cutting[:, None], -70.0)
    return Hearing(
        duration_s=DURATION_S,
        sample_rate_hz=48_000.0,
        track=SpindleTrack(
            time_s=time_s,
            spindle_rpm=speed_rpm,
            spindle_rpm_u95=np.where(running, 3.0, np.nan),
            confidence=np.full(len(time_s), 0.99),
            idle_rpm=17_260.0,
            idle_rpm_u95=4.0,
        ),
        passes=passes,
        faults=faults,
        overview=Overview(
            time_s=time_s, frequency_hz=frequency_hz, level_db=level_db.astype(np.float32)
        ),
        voices=None,
    )


def heard_take(*, faults: tuple[FaultKind, ...] = ()) -> HeardTake:
    heard = hearing(faults=tuple(Fault(kind, 1.0, "%") for kind in faults))
    return HeardTake(name="shelf.m4a", hearing=heard, notes=("The file is damaged in places.",))
