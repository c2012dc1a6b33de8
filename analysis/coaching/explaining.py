"""Limits in words."""

from __future__ import annotations

from analysis.coaching.wording import Units, say_chip, say_feed
from analysis.cutting.limits import Limit


def say_limit(limit: Limit, units: Units) -> str:
    """Say what a limit stands at, in the unit it is known by."""
    if limit.nature_unit == "mm chip":
        return f"{say_chip(limit.nature, units)} chip"
    if limit.nature_unit == "mm/s":
        return say_feed(limit.nature, units)
    if limit.nature_unit == "mm":
        return say_chip(limit.nature, units)
    return f"{limit.nature:,.0f} {limit.nature_unit}"


def say_conflict(limits: tuple[Limit, ...], units: Units) -> str:
    """Say which limits leave no room, and what would make some."""
    if not limits:
        return "No speed and feed keep every limit and leave room for a hand."
    names = ", ".join(f"{limit.name} ({say_limit(limit, units)})" for limit in limits)
    remedies = list(dict.fromkeys(limit.remedy for limit in limits))
    return f"In the way: {names}. What helps: {'; or '.join(remedies)}."
