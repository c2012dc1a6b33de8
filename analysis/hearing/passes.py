"""Passes along the edge: entry, exit, and what happened between."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the take, seconds from its start."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class HeardPass:
    """One continuous cut along the edge, as heard.

    Attributes
    ----------
    entry_s, exit_s : float
        First and last contact, seconds from the start of the take.
    time_u95_s : float
        95 % half-width of `time_s`.
    moving_time_u95_s : float
        95 % half-width of `moving_time_s`.
    spindle_rpm, spindle_rpm_u95 : float
        Mean speed while moving in the cut.
    sag_percent : float or None
        Loss of speed against running free; None when running free was not heard.
    dwells, liftoffs : tuple of Span
        Standing still in contact; contact lost.
    evenness : float
        0 to 1: 1 where the cutting sound was even along the edge.
    complete : bool
        False when the take began or ended inside the pass.
    """

    entry_s: float
    exit_s: float
    time_u95_s: float
    moving_time_u95_s: float
    spindle_rpm: float
    spindle_rpm_u95: float
    sag_percent: float | None
    dwells: tuple[Span, ...]
    liftoffs: tuple[Span, ...]
    evenness: float
    complete: bool

    @property
    def time_s(self) -> float:
        """Entry to exit, what a stopwatch would show."""
        return self.exit_s - self.entry_s

    @property
    def moving_time_s(self) -> float:
        """Entry to exit without dwells and lift-offs."""
        return self.time_s - sum(span.length_s for span in self.dwells + self.liftoffs)
