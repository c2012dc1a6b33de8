"""Following a router whose voices are known through the last moments of sound."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.hearing.frames import Frames
from analysis.hearing.orders import AT_TIMES, Candidates
from analysis.hearing.path import OFF
from analysis.hearing.plate import candidate_range_hz, free_range_hz
from analysis.hearing.pursuit import FOLLOW_DOWN, FOLLOW_UP, two_voice_path
from analysis.hearing.refine import order_phasors, refine_stretch
from analysis.hearing.search import Search, spans
from analysis.hearing.sharpen import sharpened
from analysis.hearing.turning import MIN_STRETCH_FRAMES, REFINED_ORDERS, Turning, teeth_orders
from analysis.hearing.voice import Voices, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]


class Follower:
    """Follows a router through short stretches of sound by the voices it was taught.

    It looks near the speeds at which the router was heard; `wide` looks everywhere, for a
    dial that was turned.
    """

    def __init__(self, *, flutes: int | None, plate_range_rpm: tuple[float, float] | None) -> None:
        self._flutes = flutes
        self._whole = Candidates.between(*candidate_range_hz(plate_range_rpm))
        self._free_hz = free_range_hz(plate_range_rpm)
        self._near = self._whole
        self.voices: Voices | None = None

    def learn(self, voices: Voices) -> None:
        """Take over what the router sounds like."""
        self.voices = voices
        self._near = self._whole

    def look_near(self, rotation_hz: FloatArray) -> None:
        """Look near these speeds from now on; NaN where it was off."""
        if np.isfinite(rotation_hz).any():
            low, high = np.nanpercentile(rotation_hz, [2, 98])
            self._near = Candidates.between(
                max(self._whole.lowest_hz, low * FOLLOW_DOWN),
                min(float(self._whole.rotation_hz[-1]), high * FOLLOW_UP),
            )

    def follow(self, frames: Frames, *, wide: bool) -> Turning | None:
        """The rotation through the frames; None while no voices are known."""
        if self.voices is None or len(frames.steps.excess) < 2:
            return None
        candidates = self._whole if wide else self._near
        search = Search.over(frames.steps, candidates, flutes=self._flutes, free_hz=self._free_hz)
        path = two_voice_path(search, self.voices)
        if wide:
            self.look_near(np.where(path == OFF, np.nan, candidates.rotation_hz[path]))
        orders = search.orders(path)
        fits = order_fits(orders)
        idle = step_evidence(fits, self.voices.idle).astype(np.float64)
        cutting = step_evidence(fits, self.voices.cutting).astype(np.float64)
        count = len(frames.spectra)
        step = np.minimum(np.arange(count) // 2, len(path) - 1)
        rotation, deviation = self._refined(frames, search, path)
        return Turning(
            rotation_hz=rotation,
            deviation_hz=deviation,
            cutting=((cutting > idle) & (path != OFF))[step],
            lead=(cutting - idle)[step],
            sureness=np.maximum(idle, cutting)[step],
            teeth=teeth_orders(orders, self._flutes)[step],
            voices=self.voices,
        )

    def _refined(
        self, frames: Frames, search: Search, path: npt.NDArray[np.int64]
    ) -> tuple[FloatArray, FloatArray]:
        assert self.voices is not None
        count = len(frames.spectra)
        voice = np.maximum(self.voices.idle, self.voices.cutting)
        orders = np.flatnonzero(voice >= AT_TIMES) + 1
        loudest = orders[np.argsort(-voice[orders - 1], kind="stable")][:REFINED_ORDERS]
        orders = np.union1d(loudest, [1])
        coarse = sharpened(
            search.excess,
            np.where(path != OFF, search.rotation_hz(path), np.nan),
            orders=orders,
            grid=frames.grid,
            frames=count,
        )
        rotation, deviation = np.full(count, np.nan), np.full(count, np.nan)
        for a, b in spans(np.isfinite(coarse)):
            rotation[a:b], deviation[a:b] = coarse[a:b], 0.002 * coarse[a:b]
            if b - a < MIN_STRETCH_FRAMES:
                continue
            phasors = order_phasors(
                frames.spectra[a:b],
                frames.log_floor[a:b],
                rotation_hz=coarse[a:b],
                orders=orders,
                grid=frames.grid,
            )
            refined = refine_stretch(
                phasors, rotation_hz=coarse[a:b], orders=orders, step_s=frames.grid.step_s
            )
            rotation[a:b], deviation[a:b] = refined.rotation_hz, refined.deviation_hz
        return rotation, deviation
