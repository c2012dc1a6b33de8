"""Which of several courses to keep."""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pytest

from analysis.hearing import weighing
from analysis.hearing.floors import Found, course_that_stirs
from analysis.hearing.frames import STANDS_S, Frames
from analysis.hearing.search import Search
from analysis.hearing.states import tell_apart
from analysis.hearing.turning import Turning
from analysis.hearing.voice import Voices
from analysis.hearing.weighing import hear_turning, voices_surely_heard
from tests.analysis.hearing.searches import (
    RATE_HZ,
    framed,
    path_at,
    search_of,
    step_times_s,
)
from tests.analysis.hearing.sounds import router
from tests.analysis.hearing.traces import Cut

CUTS, SECONDS = [Cut(3, 7), Cut(10, 14)], 17.0
IDLE_HZ, SAG, VACUUM_HZ = 300.0, 0.03, 221.0
PLATE_RPM = (10_000.0, 24_000.0)


def vacuum(orders: Iterable[int] = (1, 2, 5, 7, 10)) -> npt.NDArray[np.float64]:
    time_s = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    turns = VACUUM_HZ * time_s
    tones = [np.sin(2 * np.pi * order * turns + order**2) for order in orders]
    return np.asarray(0.06 * np.sum(tones, axis=0), np.float64)


def heard_from(
    monkeypatch: pytest.MonkeyPatch,
    frames: Frames,
    courses_hz: list[npt.NDArray[np.float64]],
    taught: Voices | None = None,
) -> Turning:
    """What is heard where these courses were found over the floors, the likeliest first."""

    def found(_: Frames, search: Search, **__: object) -> list[Found]:
        return [Found(search, tell_apart(search, path_at(search, hz))) for hz in courses_hz]

    monkeypatch.setattr(weighing, "courses_over_floors", found)
    return hear_turning(frames, flutes=2, plate_range_rpm=PLATE_RPM, taught=taught)


def router_hz(frames: Frames, *, sag: float = SAG) -> npt.NDArray[np.float64]:
    time_s = step_times_s(search_of(frames))
    cutting = np.zeros(len(time_s), bool)
    for cut in CUTS:
        cutting |= (time_s > cut.start_s) & (time_s < cut.end_s)
    return np.where(cutting, (1 - sag) * IDLE_HZ, IDLE_HZ)


@pytest.mark.parametrize("vacuum_first", [False, True])
def test_of_two_machines_the_one_that_answers_the_cut_is_the_router(
    monkeypatch: pytest.MonkeyPatch, vacuum_first: bool
) -> None:
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG) + vacuum())
    right = router_hz(frames)
    courses = [right, np.full(len(right), VACUUM_HZ)]
    heard = heard_from(monkeypatch, frames, courses[::-1] if vacuum_first else courses)
    assert np.nanmedian(heard.rotation_hz[100:120]) == pytest.approx(IDLE_HZ, rel=1e-3)
    assert np.nanmedian(heard.rotation_hz[200:280]) == pytest.approx(0.97 * IDLE_HZ, rel=1e-3)


def test_a_course_along_no_ones_lines_gives_way_to_a_machine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG))
    heard = heard_from(monkeypatch, frames, [np.full(len(router_hz(frames)), 141.1)])
    assert np.nanmedian(heard.rotation_hz[100:120]) == pytest.approx(IDLE_HZ, rel=1e-3)
    assert np.nanmedian(heard.rotation_hz[200:280]) == pytest.approx(0.97 * IDLE_HZ, rel=1e-3)


def test_where_no_course_was_found_a_machine_that_answers_the_cut_is_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG))
    heard = heard_from(monkeypatch, frames, [])
    assert np.nanmedian(heard.rotation_hz[200:280]) == pytest.approx(0.97 * IDLE_HZ, rel=1e-3)


def test_a_routers_voices_are_surely_heard_once_it_cuts_and_a_vacuums_never() -> None:
    """So a long take's router is known from its first cuts, and not before."""
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG))
    told = voices_surely_heard(frames, flutes=2, plate_range_rpm=PLATE_RPM)
    turning = hear_turning(frames, flutes=2, plate_range_rpm=PLATE_RPM)
    assert told is not None
    assert turning.voices is not None
    assert np.array_equal(told.cutting, turning.voices.cutting)
    before = frames.until(2 * int(CUTS[0].start_s / frames.grid.step_s / 2))
    for sound in (before, framed(vacuum())):
        assert voices_surely_heard(sound, flutes=2, plate_range_rpm=PLATE_RPM) is None


def test_where_nothing_answers_a_cut_no_machine_is_made_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heard = heard_from(monkeypatch, framed(vacuum()), [])
    assert not np.isfinite(heard.rotation_hz).any()


def test_beside_a_tune_the_router_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was found leaps by semitones, twice a second, and has nothing to do with the cut."""
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG))
    notes = np.random.default_rng(3).integers(0, 12, len(router_hz(frames)) // 11 + 1)
    tune_hz = 200.0 * 2 ** (np.repeat(notes, 11)[: len(router_hz(frames))] / 12)
    heard = heard_from(monkeypatch, frames, [tune_hz])
    assert np.nanmedian(heard.rotation_hz[200:280]) == pytest.approx(0.97 * IDLE_HZ, rel=1e-3)


def test_running_free_is_looked_for_once_more_where_the_cut_is_right(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An order that is loud when running free was taken for the next, of a lower speed."""
    frames = framed(router(CUTS, seconds=SECONDS, sag=0.2))
    right = router_hz(frames, sag=0.2)
    heard = heard_from(monkeypatch, frames, [np.where(right < IDLE_HZ, right, IDLE_HZ * 10 / 11)])
    assert np.nanmedian(heard.rotation_hz[100:120]) == pytest.approx(IDLE_HZ, rel=1e-3)
    assert np.nanmedian(heard.rotation_hz[200:280]) == pytest.approx(0.8 * IDLE_HZ, rel=1e-3)


def test_behind_a_machine_that_never_cuts_what_stirs_is_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The vacuum was found, which is louder but stands still."""
    frames = framed(router(CUTS, seconds=SECONDS, sag=0.1) + 3 * vacuum())
    heard = heard_from(monkeypatch, frames, [np.full(len(router_hz(frames)), VACUUM_HZ)])
    assert np.nanmedian(heard.rotation_hz[100:120]) == pytest.approx(IDLE_HZ, rel=1e-3)
    assert np.nanmedian(heard.rotation_hz[200:280]) == pytest.approx(0.9 * IDLE_HZ, rel=1e-3)


def test_a_taught_voice_hears_the_router_beside_a_louder_machine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The vacuum, all of whose orders sound, was found, and nothing else that answers the cut."""
    monkeypatch.setattr(weighing, "course_that_stirs", lambda *_: None)
    monkeypatch.setattr(weighing, "_surest", lambda best, *_: best)
    alone = framed(router(CUTS, seconds=SECONDS, sag=SAG))
    search = search_of(alone)
    idle = tell_apart(search, path_at(search, router_hz(alone))).voices.idle
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG) + vacuum(range(1, 25)))
    found = [np.full(len(router_hz(frames)), VACUUM_HZ)]
    told_hz = [
        np.nanmedian(heard_from(monkeypatch, frames, found, taught).rotation_hz[100:120])
        for taught in (None, Voices(idle, idle))
    ]
    assert told_hz == pytest.approx([VACUUM_HZ, IDLE_HZ], rel=1e-3)


def test_in_a_moment_nothing_can_be_told_from_what_stands_still() -> None:
    frames = framed(router([], seconds=2 * STANDS_S - 1, sag=0.1))
    assert course_that_stirs(frames, search_of(frames), None) is None


def test_where_nothing_is_found_nothing_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    heard = heard_from(monkeypatch, framed(router([], seconds=3.0)), [])
    assert np.isnan(heard.rotation_hz).all()
    assert heard.voices is None


def test_one_comb_counted_by_half_needs_more_merit(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = framed(router(CUTS, seconds=SECONDS, sag=SAG))
    right = router_hz(frames)
    heard = heard_from(monkeypatch, frames, [right, right / 2])
    assert np.nanmedian(heard.rotation_hz[100:120]) == pytest.approx(IDLE_HZ, rel=1e-3)
