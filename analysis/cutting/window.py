"""The window: every pair of spindle speed and feed that keeps all limits at once.

All limits are straight lines in that plane, so the window is a convex polygon, cut exactly.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from analysis.cutting.limits import Bound, Limit

_WIDEST_RPM = (1_000.0, 60_000.0)
"""Ends of speed where the router's range is not known."""

_LEAST_AREA = 1.0
"""One rpm by one mm/s: less is a rounding error."""


@dataclass(frozen=True, slots=True)
class Window:
    """The window of a job.

    Attributes
    ----------
    corners : tuple of (rpm, mm/s)
        The polygon, anticlockwise; empty where no speed and feed keep every limit.
    """

    limits: tuple[Limit, ...]
    flutes: int
    corners: tuple[tuple[float, float], ...]

    @property
    def area(self) -> float:
        """Area of the polygon, rpm mm/s (the shoelace formula)."""
        ahead = self.corners[1:] + self.corners[:1]
        return 0.5 * sum(
            x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(self.corners, ahead, strict=True)
        )

    @property
    def is_open(self) -> bool:
        """Whether there is room: a polygon squeezed to a line has none."""
        return self.area > _LEAST_AREA

    def tightest(self, bound: Bound) -> Limit | None:
        """The limit that counts among those of one kind."""
        candidates = [limit for limit in self.limits if limit.bound is bound]
        if not candidates:
            return None
        choose = max if bound.is_least else min
        return choose(candidates, key=lambda limit: limit.value)

    def contains(self, *, feed_mm_s: float, spindle_rpm: float) -> bool:
        """Whether every limit is kept, its line included."""
        return all(
            limit.room(feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm, flutes=self.flutes) >= 0
            for limit in self.limits
        )

    def feeds_at(self, spindle_rpm: float) -> tuple[float, float] | None:
        """Slowest and fastest feed inside the window at a speed, mm/s."""
        for bound in (Bound.LEAST_SPEED, Bound.MOST_SPEED):
            limit = self.tightest(bound)
            if (
                limit is not None
                and limit.room(feed_mm_s=1.0, spindle_rpm=spindle_rpm, flutes=self.flutes) < 0
            ):
                return None
        ends = []
        for bounds, choose in (
            ((Bound.LEAST_FEED, Bound.LEAST_FEED_PER_TOOTH), max),
            ((Bound.MOST_FEED, Bound.MOST_FEED_PER_TOOTH), min),
        ):
            feeds = [
                feed
                for bound in bounds
                if (limit := self.tightest(bound)) is not None
                and (feed := limit.feed_at(spindle_rpm=spindle_rpm, flutes=self.flutes)) is not None
            ]
            ends.append(choose(feeds))
        slow, fast = ends
        return (slow, fast) if slow <= fast else None

    def speeds(self) -> tuple[float, float] | None:
        """Lowest and highest speed inside the window, rpm."""
        if not self.is_open:
            return None
        speeds = [rpm for rpm, _ in self.corners]
        return min(speeds), max(speeds)

    def nearest(self, *, feed_mm_s: float, spindle_rpm: float) -> Limit:
        """The limit that binds: the one with the least room at a cut."""
        return min(
            self.limits,
            key=lambda limit: limit.room(
                feed_mm_s=feed_mm_s, spindle_rpm=spindle_rpm, flutes=self.flutes
            ),
        )

    def in_the_way(self) -> tuple[Limit, ...]:
        """For a closed window: which limits close it.

        Those of which dropping any one would open it; where no single one would, the first
        smallest group that would.
        """
        if self.is_open:
            return ()
        for size in range(1, len(self.limits) + 1):
            groups = [
                group
                for group in itertools.combinations(self.limits, size)
                if open_window(
                    tuple(limit for limit in self.limits if limit not in group),
                    flutes=self.flutes,
                ).is_open
            ]
            if groups:
                return tuple(group[0] for group in groups) if size == 1 else groups[0]
        return self.limits


def open_window(limits: tuple[Limit, ...], *, flutes: int) -> Window:
    """Cut the polygon out of the plane."""
    low_rpm, high_rpm = _WIDEST_RPM
    top_mm_s = 10_000.0
    corners = [
        (low_rpm, 0.0),
        (high_rpm, 0.0),
        (high_rpm, top_mm_s),
        (low_rpm, top_mm_s),
    ]
    for limit in limits:
        corners = _clip(corners, *_half_plane(limit, flutes))
    return Window(limits=limits, flutes=flutes, corners=tuple(corners))


def _half_plane(limit: Limit, flutes: int) -> tuple[float, float, float]:
    """(a, b, c) such that the limit is kept where a rpm + b feed + c >= 0."""
    sign = 1.0 if limit.bound.is_least else -1.0
    if limit.bound in (Bound.LEAST_SPEED, Bound.MOST_SPEED):
        return sign, 0.0, -sign * limit.value
    if limit.bound in (Bound.LEAST_FEED, Bound.MOST_FEED):
        return 0.0, sign, -sign * limit.value
    return -sign * limit.value * flutes / 60, sign, 0.0


def _clip(
    corners: list[tuple[float, float]], a: float, b: float, c: float
) -> list[tuple[float, float]]:
    """Keep the part of a convex polygon where a x + b y + c >= 0."""
    kept = []
    for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1], strict=True):
        here, there = a * x1 + b * y1 + c, a * x2 + b * y2 + c
        if here >= 0:
            kept.append((x1, y1))
        if here * there < 0:
            share = here / (here - there)
            kept.append((x1 + share * (x2 - x1), y1 + share * (y2 - y1)))
    return kept
