"""A calibration: the dial's curve, the router's voice, and what to know about both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.dial.curve import DialCurve
from analysis.dial.fitting import fit_curve
from analysis.dial.listening import FreeHearing, voice_at, worth_of
from analysis.dial.loudness import as_loud
from analysis.dial.matching import DialPoint, Mismatch, Trouble, match_settings
from analysis.dial.missing import gaps_s, not_told_of, with_missing
from analysis.dial.plateaus import Plateau, find_plateaus, is_left_for_another
from analysis.dial.settings import Setting
from analysis.hearing.listener import Hearing
from analysis.hearing.spindle import SpindleTrack
from analysis.hearing.voice import Voices

OFF_PLATE = 0.05  # share beyond the plate's speeds that is worth telling
STILL_DRIFTING_PERCENT = 0.5
SHORT_S = 2.5
LONG_GAP_S = 8.5  # to switch off, turn the dial and start again takes some 4 to 7 s
UNKNOWN = 0.004  # share: a speed less sure than what two settings may fall short of rising by
LEAST_WORTH = 10.0  # nats
FAINT = 0.35  # of the usual worth a second


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """What a dial really does.

    Attributes
    ----------
    points : tuple of DialPoint
        Each plateau with its setting, in the order of the takes.
    curve : DialCurve
    voices : Voices or None
        How the router sounds, for recognising it later.
    plate_range_rpm : (float, float) or None
        Lowest and highest no-load speed on its plate.
    notes : tuple of str
        Sentences: what was odd, and what would make it better.
    """

    points: tuple[DialPoint, ...]
    curve: DialCurve
    voices: Voices | None
    plate_range_rpm: tuple[float, float] | None
    notes: tuple[str, ...]


def plateaus_heard(
    heard: FreeHearing, cuts: tuple[Hearing, ...] | None = None
) -> tuple[Plateau, ...]:
    """All plateaus of all takes, in their order; `cuts`, from `hear_cuts`, parts cuts from them.

    Where it is too quiet for the router, it is off, and what is heard there is something else.
    """
    found = _plateaus_on(heard.tracks, cuts)
    loud = as_loud(found, found, heard.takes)
    if len(loud) == len(found):
        return found
    quiet = [plateau for plateau in found if plateau not in loud]
    tracks = (_without(track, quiet, take) for take, track in enumerate(heard.tracks))
    return _plateaus_on(tuple(tracks), cuts)


def _plateaus_on(
    tracks: tuple[SpindleTrack, ...], cuts: tuple[Hearing, ...] | None
) -> tuple[Plateau, ...]:
    plateaus: list[Plateau] = []
    for take, track in enumerate(tracks):
        passes = cuts[take].passes if cuts else ()
        cuts_s = tuple((one.entry_s, one.exit_s) for one in passes)
        plateaus += find_plateaus(track, cuts_s=cuts_s, take=take)
    return tuple(plateaus)


def _without(track: SpindleTrack, plateaus: list[Plateau], take: int) -> SpindleTrack:
    """A take's track with nothing heard in some plateaus."""
    rpm = track.spindle_rpm.copy()
    for plateau in plateaus:
        if plateau.take == take:
            rpm[(track.time_s >= plateau.start_s) & (track.time_s < plateau.end_s)] = np.nan
    return replace(track, spindle_rpm=rpm)


def calibrate(
    plateaus: tuple[Plateau, ...],
    *,
    settings: tuple[Setting, ...],
    heard: FreeHearing,
    plate_range_rpm: tuple[float, float] | None,
) -> Calibration | Mismatch:
    """Make the calibration, or say why plateaus and settings don't fit.

    Parameters
    ----------
    plateaus : tuple of Plateau
        From `plateaus_heard`.
    settings : tuple of Setting
        In the order in which they were set, over all takes.
    heard : FreeHearing
    plate_range_rpm : (float, float) or None
    """
    if heard.another_turns:
        return Mismatch(Trouble.TWO_MACHINES, plateaus, settings)
    in_turn = tuple(p for p in plateaus if is_left_for_another(p, heard.tracks[p.take]))
    plateaus = tuple(p for p in believed(plateaus, heard) if p not in in_turn)
    points = match_settings(plateaus, settings, heard.tracks)
    missing: tuple[Plateau, ...] = ()
    if isinstance(points, Mismatch):
        wrong = points.trouble is Trouble.NOT_RISING
        more = with_missing(
            plateaus,
            settings,
            heard,
            plate_range_rpm=plate_range_rpm,
            one_is_wrong=wrong,
            others=in_turn,
        )
        again = match_settings(more, settings, heard.tracks) if more is not None else points
        if more is None or isinstance(again, Mismatch):
            return points
        points, missing = again, tuple(plateau for plateau in more if plateau not in plateaus)
    matched = tuple(point.plateau for point in points)
    more = not_told_of(matched, heard, plate_range_rpm=plate_range_rpm)
    if more:
        every = sorted((*matched, *more), key=lambda plateau: (plateau.take, plateau.start_s))
        return Mismatch(Trouble.TOO_MANY, tuple(every), settings)
    curve = fit_curve(
        settings=settings,
        speeds_rpm=[point.plateau.spindle_rpm for point in points],
        speeds_u95_rpm=[point.plateau.spindle_rpm_u95 for point in points],
    )
    notes = [*_on_the_count(heard), *_on_the_missing(points, missing)]
    notes += _on_the_gaps(matched, heard)
    notes += [*_on_the_plateaus(points, heard), *_on_repeats(curve)]
    if plate_range_rpm is not None:
        notes += _on_the_plate(curve, plate_range_rpm)
    return Calibration(points, curve, voice_at(matched, heard), plate_range_rpm, tuple(notes))


def believed(plateaus: tuple[Plateau, ...], heard: FreeHearing) -> tuple[Plateau, ...]:
    """The plateaus at which the router's voice is heard, at a speed that is known."""
    return tuple(
        plateau
        for plateau in plateaus
        if plateau.spindle_rpm_u95 < UNKNOWN * plateau.spindle_rpm
        and worth_of(plateau, heard.takes[plateau.take]) > LEAST_WORTH
    )


def _on_the_count(heard: FreeHearing) -> list[str]:
    if heard.rival_ratio is None:
        return []
    note = (
        f"The sound would also fit speeds {heard.rival_ratio:.2f} times as high. Give the "
        "speeds on the router's plate to settle it."
    )
    return [note]


def _on_the_missing(points: tuple[DialPoint, ...], missing: tuple[Plateau, ...]) -> list[str]:
    hardly = [point for point in points if point.plateau in missing]
    if not hardly:
        return []
    note = (
        f"Setting {_labels(hardly)} was hardly heard, and was looked for where the other settings "
        "leave room. Switch off what else runs and record again to be sure."
    )
    return [note]


def _on_the_gaps(plateaus: tuple[Plateau, ...], heard: FreeHearing) -> list[str]:
    """Whether a setting may have run unheard: if it was not told either, nothing else shows it."""
    gaps = []
    for take, one in enumerate(heard.takes):
        mine = [plateau for plateau in plateaus if plateau.take == take]
        gaps += [(a, b) for a, b in gaps_s(mine, one) if b - a > LONG_GAP_S]
    if not gaps:
        return []
    told = ", ".join(f"{a:.0f} to {b:.0f} s" for a, b in gaps)
    note = (
        f"No steady speed is heard from {told}. If a setting ran there that you did not name, the "
        "others have each other's speeds: record again."
    )
    return [note]


def _on_the_plateaus(points: tuple[DialPoint, ...], heard: FreeHearing) -> list[str]:
    notes = []
    drifting = [p for p in points if abs(p.plateau.drift_percent) > STILL_DRIFTING_PERCENT]
    worths = {
        p: worth_of(p.plateau, heard.takes[p.plateau.take]) / p.plateau.length_s for p in points
    }
    usual = float(np.median(list(worths.values())))
    faint = [point for point in drifting if worths[point] < FAINT * usual]
    drifting = [point for point in drifting if point not in faint]
    if faint:
        notes.append(
            f"Setting {_labels(faint)} was hardly heard, and seems to drift: another machine's "
            "sound may be in it. Switch off what else runs and record again to be sure."
        )
    if drifting:
        notes.append(
            f"The speed still drifted at setting {_labels(drifting)}, by up to "
            f"{max(abs(p.plateau.drift_percent) for p in drifting):.1f} %. Warm the router up for "
            "a minute or two before you calibrate."
        )
    short = [p for p in points if p.plateau.length_s < SHORT_S]
    if short:
        notes.append(
            f"Setting {_labels(short)} ran for under {SHORT_S:g} s. Let each run for 4 to 6 s."
        )
    return notes


def _on_repeats(curve: DialCurve) -> list[str]:
    if curve.repeatability_percent is None:
        note = (
            "No setting was set twice, so how well the dial comes back to a number is not known, "
            "and that usually matters most. Set one or two numbers again at the end of the take."
        )
        return [note]
    again = curve.repeatability_percent * curve.repeatability_factor
    return [f"Set again, this dial comes back to a speed within {again:.1f} % (95 %)."]


def _on_the_plate(curve: DialCurve, plate_range_rpm: tuple[float, float]) -> list[str]:
    notes = []
    for measured, plate, end, knot in zip(
        curve.range_rpm,
        plate_range_rpm,
        ("lowest", "highest"),
        (curve.knots[0], curve.knots[-1]),
        strict=True,
    ):
        off = measured / plate - 1
        if abs(off) <= OFF_PLATE + knot.spindle_rpm_u95 / plate:
            continue
        faster = "above" if off > 0 else "below"
        beyond = (off > 0) == (end == "highest")
        rest = "" if beyond else f", if {knot.label} is the dial's {end} setting"
        notes.append(
            f"Setting {knot.label} turns at {measured:,.0f} rpm, {abs(100 * off):.0f} % {faster} "
            f"the plate's {plate:,.0f}{rest}."
        )
    return notes


def _labels(points: list[DialPoint]) -> str:
    return ", ".join(dict.fromkeys(point.setting.label for point in points))
