"""Which speeds the router's plate allows, running free and in the cut."""

from __future__ import annotations

LOADED = 2 / 3  # an unregulated router may lose a third of its speed in the cut
OVER_PLATE = 1.08  # and run this much over its plate when free
UNDER_PLATE = 0.92  # or, at the lowest setting, under it
ANY_ROUTER_RPM = (8_000.0, 35_000.0)


def candidate_range_hz(plate_range_rpm: tuple[float, float] | None) -> tuple[float, float]:
    """Rotation frequencies to look among: the plate's, less sag, plus tolerance."""
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    return low_rpm * LOADED / 60, high_rpm * OVER_PLATE / 60


def free_range_hz(plate_range_rpm: tuple[float, float] | None) -> tuple[float, float]:
    """Rotation below and above which a router of that plate should not run free."""
    low_rpm, high_rpm = plate_range_rpm or ANY_ROUTER_RPM
    return UNDER_PLATE * low_rpm / 60, high_rpm / 60
