"""What speaks for a course's being a router's at work.

It answers the cut, its lines turn together, and it has merit: one sum, the credit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analysis.hearing.answer import spindle_answer
from analysis.hearing.counting import counted_otherwise
from analysis.hearing.frames import Frames
from analysis.hearing.impostors import leaps, leaps_like_a_tune
from analysis.hearing.search import Course, Search
from analysis.hearing.states import tell_apart
from analysis.hearing.touching import hear_contact
from analysis.hearing.turning import STRANGERS, Turning, is_one_machine, lines_apart, trace_of
from analysis.hearing.voice import Mask, Voices

TOGETHER = 10e-4  # share of the rotation by which lines differ that surely turn together
# Of credit: deviations of the answer, at most, what turning together is worth, and merit; and by
# how much another course must have more.
MOST_ANSWER, TOGETHER_WORTH, MERIT_WORTH, MORE_CREDIT = 15.0, 6.0, 0.5, 2.0
# Most routers come to 25. What has less is doubtful, what has more surely is one.
LEAST_CREDIT, SURELY = 15.0, 18.0
HARDLY_ANSWERED, HARDLY_CUTS = 4.0, 7.0
MOST_LEAPS_PER_S = 0.25  # of a router: music leaps more than twice as often
# Of a router that labours: candidates a step by which its speed moves between leaps, where notes
# stand, and deviations by which it answers the cut, more than notes come to by chance: so many,
# and so many if it stands as they do.
NEVER_STANDS, LABOURS, LABOURS_STANDING = 1.0, 6.0, 15.0


@dataclass(frozen=True, eq=False)
class Weighed:
    """A course refined, and what speaks for its being a router at work.

    Attributes
    ----------
    frames : Frames
    turning : Turning
    course : Course
    sound : Search
        In which all that are weighed against each other are told.
    taught : Voices or None
        The router's, from its calibration.
    """

    frames: Frames
    turning: Turning
    course: Course
    sound: Search
    taught: Voices | None

    @cached_property
    def contact(self) -> Mask:
        """Frames in the wood, if this is the router."""
        return hear_contact(trace_of(self.frames, self.turning)).mask

    @property
    def cuts(self) -> bool:
        """Whether contact is heard anywhere."""
        return bool(self.contact.any())

    @cached_property
    def answer(self) -> float:
        """How surely the speed answers the cut, as `spindle_answer`."""
        step_s = self.frames.grid.step_s
        return spindle_answer(self.turning.rotation_hz, self.contact, step_s=step_s)

    @property
    def is_tune(self) -> bool:
        """Whether it leaps like one: notes stand still, and don't give way where a cut begins."""
        step_s = self.frames.grid.step_s
        if not leaps_like_a_tune(self.turning.rotation_hz, step_s=step_s):
            return False
        stands = self.course.moves_per_step < NEVER_STANDS
        return self.answer < (LABOURS_STANDING if stands else LABOURS)

    @property
    def is_doubtful(self) -> bool:
        """Whether another machine may have been followed, or lines of several, or a tune."""
        hardly_cuts = self.answer < HARDLY_ANSWERED and self.course.cutness < HARDLY_CUTS
        return hardly_cuts or self.is_most_doubtful

    @property
    def is_most_doubtful(self) -> bool:
        """Whether next to nothing speaks for it: then merit says little as well."""
        little = self.is_tune or self.credit < LEAST_CREDIT
        return little or not is_one_machine(self.turning)

    @property
    def is_beyond_doubt(self) -> bool:
        """Whether it is a router's whatever else sounds, music too."""
        step_s = self.frames.grid.step_s
        running_s = step_s * np.count_nonzero(np.isfinite(self.turning.rotation_hz))
        if leaps(self.turning.rotation_hz, step_s=step_s) > MOST_LEAPS_PER_S * running_s:
            return False
        return not self.is_doubtful and self.credit > SURELY

    @cached_property
    def told(self) -> Course:
        """The course in the common sound."""
        return tell_apart(self.sound, self.course.path)

    @property
    def merit(self) -> float:
        """Its merit there."""
        return self.told.merit

    @cached_property
    def likeness(self) -> float:
        """How much it sounds like the taught voice, in the common sound; 0 if none was taught."""
        if self.taught is None:
            return 0.0
        sound = replace(self.sound, taught=self.taught.idle)
        return tell_apart(sound, self.course.path).likeness

    @cached_property
    def credit(self) -> float:
        """All of it together."""
        answer = float(np.clip(self.answer, -MOST_ANSWER, MOST_ANSWER))
        together = np.log(STRANGERS / lines_apart(self.turning)) / np.log(STRANGERS / TOGETHER)
        worth = TOGETHER_WORTH * float(np.clip(together, 0, 1))
        return answer + worth + MERIT_WORTH * self.merit


def better(best: Weighed, other: Weighed) -> Weighed:
    """The other if it has clearly more credit.

    One comb counted in two ways answers the cut alike: then it must have more merit as well, and
    sound no less like a router that was taught.
    """
    one_comb = counted_otherwise(best.course, other.course) is not None
    if one_comb and (other.merit <= best.merit or other.likeness < best.likeness):
        return best
    return other if other.credit > best.credit + MORE_CREDIT else best
