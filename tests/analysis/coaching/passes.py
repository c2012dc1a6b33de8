"""Hand-made passes for the coaching tests."""

from analysis.coaching.reading import CutSetup
from analysis.hearing.passes import HeardPass, Span

HALF_INCH = CutSetup(
    edge_length_mm=600,
    bit_diameter_mm=12.7,
    flutes=2,
    trim_allowance_mm=1.5875,
    material="hardwood",
    plate_range_rpm=(8_000, 24_000),
)


def heard(
    *,
    time_s: float,
    spindle_rpm: float,
    entry_s: float = 5.0,
    time_u95_s: float = 0.05,
    spindle_rpm_u95: float = 10.0,
    dwells: tuple[Span, ...] = (),
    liftoffs: tuple[Span, ...] = (),
    complete: bool = True,
) -> HeardPass:
    """A pass as the hearing would report it."""
    return HeardPass(
        entry_s=entry_s,
        exit_s=entry_s + time_s,
        time_u95_s=time_u95_s,
        moving_time_u95_s=time_u95_s,
        spindle_rpm=spindle_rpm,
        spindle_rpm_u95=spindle_rpm_u95,
        sag_percent=2.0,
        dwells=dwells,
        liftoffs=liftoffs,
        evenness=0.9,
        complete=complete,
    )
