"""A router that is heard in the cut only."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.hearing.bridging import AT_ENDS_S, MOST_S, bridged, only_heard_in_cut
from analysis.hearing.orders import SILENT
from analysis.hearing.path import OFF
from analysis.hearing.states import tell_apart
from tests.analysis.hearing.searches import path_at, searched, step_times_s
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

STEP_S = 0.02
FREE_HZ, CUT_HZ = 300.0, 297.0


def heard(*spans_s: tuple[float, float], seconds: float) -> tuple[np.ndarray, np.ndarray]:
    """Rotation and contact of a router heard only while it cuts; first contact is at full speed."""
    time_s = STEP_S * np.arange(round(seconds / STEP_S))
    rotation_hz, cutting = np.full(len(time_s), np.nan), np.zeros(len(time_s), bool)
    for start_s, end_s in spans_s:
        inside = (time_s >= start_s) & (time_s < end_s)
        since_s = time_s[inside] - start_s
        rotation_hz[inside] = CUT_HZ + (FREE_HZ - CUT_HZ) * np.exp(-since_s / 0.3)
        cutting |= inside
    return rotation_hz, cutting


def test_between_cuts_it_turns_as_fast_as_at_first_contact() -> None:
    rotation_hz, cutting = heard((2, 5), (8, 11), seconds=13)
    filled, deviation_hz = bridged(
        rotation_hz, 0.1 + 0 * rotation_hz, cutting=cutting, step_s=STEP_S
    )
    between = slice(round(6.5 / STEP_S), round(8 / STEP_S))
    assert filled[between] == pytest.approx(FREE_HZ, rel=1e-3)
    assert np.all(1.96 * deviation_hz[between] > 0.01 * FREE_HZ)
    assert np.array_equal(filled[cutting], rotation_hz[cutting])


def test_nothing_is_made_up_far_from_a_cut() -> None:
    rotation_hz, cutting = heard((4, 7), (8 + MOST_S, 20), seconds=25)
    filled, _ = bridged(rotation_hz, rotation_hz, cutting=cutting, step_s=STEP_S)
    assert np.isnan(filled[~cutting][round(AT_ENDS_S / STEP_S) :]).any()
    assert np.isnan(filled[round(8 / STEP_S) : round((7 + MOST_S) / STEP_S)]).all()
    assert np.isnan(filled[: round((4 - AT_ENDS_S) / STEP_S) - 1]).all()
    silent = np.full(50, np.nan)
    assert np.isnan(bridged(silent, silent, cutting=np.zeros(50, bool), step_s=STEP_S)[0]).all()


def test_a_pause_that_begins_out_of_the_cut_is_left_alone() -> None:
    # Heard running free before it fell silent: it was switched off.
    rotation_hz, cutting = heard((2, 5), (8, 11), seconds=13)
    off = slice(round(5.5 / STEP_S), round(7.5 / STEP_S))
    free = np.isnan(rotation_hz)
    free[off] = False
    rotation_hz[free] = FREE_HZ
    filled, _ = bridged(rotation_hz, rotation_hz, cutting=cutting, step_s=STEP_S)
    assert np.isnan(filled[off]).all()


@pytest.mark.parametrize("free_is_heard", [True, False])
def test_a_course_out_of_the_cut_stands_only_on_what_is_heard(free_is_heard: bool) -> None:
    cuts = [Cut(2, 5), Cut(7, 10)]
    search = searched(router(cuts, seconds=12.0, idle_rpm=60 * 300, sag=0.01))
    time_s = step_times_s(search)
    cut = np.any([(time_s > c.start_s) & (time_s < c.end_s) for c in cuts], axis=0)
    astray_hz = 300.0 if free_is_heard else 317.0
    course = tell_apart(search, path_at(search, np.where(cut, 297.0, astray_hz)), guess=cut)
    if not free_is_heard:
        silent = np.full_like(course.voices.idle, SILENT)
        course = replace(course, voices=replace(course.voices, idle=silent))
    kept = only_heard_in_cut(search, course)
    assert np.all(kept.running[course.cutting])
    assert np.mean(kept.path[~course.cutting] != OFF) == (1.0 if free_is_heard else 0.0)


def test_before_it_spins_up_nothing_turns() -> None:
    # Spinning up roars and may pass for a cut, but it begins far below the speed of one.
    rotation_hz, cutting = heard((4, 7), seconds=9)
    spin = slice(round(1.5 / STEP_S), round(2 / STEP_S))
    rotation_hz[spin] = np.linspace(0.8, 1.0, spin.stop - spin.start) * FREE_HZ
    rotation_hz[spin.stop : round(4 / STEP_S)] = FREE_HZ
    cutting[spin] = True
    filled, _ = bridged(rotation_hz, rotation_hz, cutting=cutting, step_s=STEP_S)
    assert np.isnan(filled[: spin.start]).all()
