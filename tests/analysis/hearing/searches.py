"""Samples made ready for a search, and paths of known speeds."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.contact import band_levels
from analysis.hearing.frames import Frames, as_frames
from analysis.hearing.orders import LOG_STEP, Candidates, Voice
from analysis.hearing.search import Course, Search
from analysis.hearing.spectra import Framer, SpectrumGrid, log_power, spectrum
from analysis.hearing.voice import Voices

RATE_HZ = 16_000


def framed(samples: npt.NDArray[np.floating]) -> Frames:
    """Samples at RATE_HZ as the frames of a stretch of sound."""
    grid = SpectrumGrid(float(RATE_HZ))
    framer = Framer(grid)
    frames = np.concatenate([framer.frames(samples.astype(np.float32), multiple=1), framer.rest()])
    spectra = spectrum(frames, grid=grid)
    levels = log_power(spectra[:, : grid.bins])
    bands = band_levels(spectra, levels, grid=grid)
    return as_frames(spectra[:, : grid.bins], levels, bands, grid=grid)


def searched(samples: npt.NDArray[np.floating]) -> Search:
    return search_of(framed(samples))


def search_of(frames: Frames) -> Search:
    """A search between 90 and 430 Hz for a router with two flutes."""
    steps = frames.steps
    return Search.over(steps, Candidates.between(90.0, 430.0), flutes=2, free_hz=(130.0, 400.0))


def path_at(search: Search, rotation_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """The path of a rotation given step by step."""
    log_hz = np.log(rotation_hz / search.candidates.lowest_hz)
    return np.rint(log_hz / LOG_STEP).astype(np.int64)


def step_times_s(search: Search) -> npt.NDArray[np.float64]:
    """The middle of each step, which is two frames."""
    middles = 2 * np.arange(len(search.excess), dtype=np.float64) + 0.5
    return np.asarray(middles * search.grid.step_s, np.float64)


def course_of(
    path: npt.NDArray[np.int64], voice: Voice, cutting: npt.NDArray[np.bool_] | None = None
) -> Course:
    """A course of one voice of which nothing but its path and its cuts is asked."""
    return Course(
        path,
        np.zeros(len(path), bool) if cutting is None else cutting,
        Voices(voice, voice),
        cutness=1.0,
        evidence=1.0,
        likeness=0.0,
        off_plate=0.0,
        merit=1.0,
    )
