"""Over which floor is the router heard? Its course, looked for over two.

A floor that follows the ripples that a wall puts on the noise loses some faint lines; one that
stands still keeps those and the ripples, which pose as a comb.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from analysis.hearing.counting import counted_otherwise, ratio_scores
from analysis.hearing.course import find_course
from analysis.hearing.frames import STANDS_S, Frames
from analysis.hearing.search import HOP, Course, Search
from analysis.hearing.states import tell_apart
from analysis.hearing.voice import Voices

MUCH_THE_SAME = 0.97  # share of the steps that two courses have in common, if they are one
EVIDENCE_WORTH = 2.0  # nats of a ratio's score, for each nat of evidence a step


class Found(NamedTuple):
    """A course, and the search that it was found in."""

    search: Search
    course: Course


def courses_over_floors(
    frames: Frames,
    search: Search,
    *,
    known: Voices | None,
    taught: Voices | None,
    does: Callable[[Found], bool],
) -> list[Found]:
    """The router's course and, if the other floor shows quite another, both, likelier first.

    Parameters
    ----------
    frames : Frames
    search : Search
        Of all of the frames' steps, over their own floor.
    known, taught
        As in `hear_turning`.
    does : callable
        Whether a course found over one floor does, so that none over the other could go before.

    Returns
    -------
    list of Found
        None, one or two: none where no comb of orders is heard.
    """
    course = find_course(search, known, taught)
    found = [] if course is None else [Found(search, course)]
    if found and (known is not None or does(found[0])):
        return found
    standing = search.of(frames.over_standing_floor())
    course = find_course(standing, known, taught)
    if course is not None:
        found.append(Found(standing, course))
    return _likelier_first(*found) if len(found) == 2 else found


def course_that_stirs(frames: Frames, search: Search, taught: Voices | None) -> Found | None:
    """A course found where all that stands still was taken out, in the sound of a search.

    None also where so little is heard that nothing stirs in it.
    """
    if len(frames.spectra) * frames.grid.step_s < 2 * STANDS_S:
        return None
    course = find_course(search.of(frames.that_stir()), taught=taught)
    return None if course is None else Found(search, tell_apart(search, course.path))


def _likelier_first(rippled: Found, standing: Found) -> list[Found]:
    """Of two courses the likelier, and the other too if it is another machine's.

    Each looked most like a router at work where it was sought. Where two such courses differ one
    has gone astray, mostly by little things, and it has less evidence on the floor that leaves
    nothing but lines standing. Where they count the same lines otherwise, by half or double, the
    ratio is weighed too, on both floors.
    """
    (search, one), (_, two) = rippled, standing
    told, otherwise = (tell_apart(search, c.path, guess=c.cutting) for c in (one, two))
    ratio = counted_otherwise(one, two)
    if ratio is not None:
        here, there = ratio_scores(*rippled), ratio_scores(*standing)
        back = min(there, key=lambda r: abs(r * ratio - 1))
        for_two = (here.get(ratio, here[1.0]) - here[1.0] + there[1.0] - there[back]) / 2
        for_two += EVIDENCE_WORTH * (otherwise.evidence - told.evidence)
        return [standing if for_two > 0 else rippled]
    in_common = np.mean(np.abs(one.path - two.path) <= HOP // 2)
    if in_common > MUCH_THE_SAME:  # they differ in what is the cut
        first = standing if otherwise.merit > told.merit else rippled
    else:
        first = standing if otherwise.evidence > told.evidence else rippled
    return [rippled, standing] if first is rippled else [standing, rippled]
