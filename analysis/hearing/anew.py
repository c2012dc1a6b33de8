"""Passes that are over, heard once more among all that came before them and after."""

from __future__ import annotations

from analysis.hearing.events import SAME_S, PassesRevised, Record
from analysis.hearing.passes import find_passes, moved
from analysis.hearing.recent import RecentCourse
from analysis.hearing.touching import hear_contact


def heard_anew(course: RecentCourse, record: Record) -> PassesRevised | None:
    """The passes that are over by the record, as a review finds them; None if it finds none."""
    first_s = course.first * course.trace.step_s
    found = find_passes(course.trace, hear_contact(course.trace))
    passes = [moved(heard, first_s) for heard in found]
    # What began before all that is kept, or goes on, is left as it was told.
    from_s = record.clear_s(first_s)
    until_s = record.closed_s + SAME_S
    if passes and not passes[0].complete:
        from_s = max(from_s, passes[0].exit_s)
    until_s = min([until_s, *(p.entry_s for p in passes if p.exit_s >= until_s)])
    over = tuple(p for p in passes if p.complete and p.entry_s >= from_s and p.exit_s < until_s)
    return PassesRevised(from_s, until_s, over) if over else None
