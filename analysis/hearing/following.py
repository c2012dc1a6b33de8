"""Following a router whose voices are known through the newest sound.

Every step is set against its floor once, asked once how well each speed near the last explains
it, and joined to the course so far. The last digits, dear to ask for, are asked when wanted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from analysis.hearing.onward import OnwardPath
from analysis.hearing.orders import Candidates, comb_evidence, on_log_axis
from analysis.hearing.path import OFF
from analysis.hearing.plate import candidate_range_hz, free_range_hz
from analysis.hearing.pursuit import (
    EVIDENCE,
    FOLLOW_DOWN,
    FOLLOW_UP,
    GLIDE,
    SWITCH,
    two_voice_path,
)
from analysis.hearing.recent import RecentSound
from analysis.hearing.refine import COARSE_DEVIATION, order_phasors, refine_stretch
from analysis.hearing.search import Search, Steps, spans
from analysis.hearing.sharpen import SHARPEN_STEPS, sharpened
from analysis.hearing.spectra import (
    FLOOR_EVERY,
    SpectrumGrid,
    against_floor,
    log_floor,
    rippled_colour,
)
from analysis.hearing.turning import MIN_STRETCH_FRAMES, Turning, audible_orders, teeth_orders
from analysis.hearing.voice import Voices, order_fits, step_evidence

FloatArray = npt.NDArray[np.float64]

KEPT_S = 2.0
COLOUR_S = 0.5  # the noise's colour is told anew with so much new sound
TOGETHER = 8  # frames whose turn is asked at once
MOST_OFF = 0.004  # as a share of the rotation
BESIDE_STEPS = SHARPEN_STEPS // 2 + 1  # that what is sharpened leans on


@dataclass(slots=True)
class _Lately:
    """The newest sound against its floor: `end` is the number of the frame after it."""

    end: int
    excess: npt.NDArray[np.float32]  # of steps of two frames
    log_floor: npt.NDArray[np.float32]  # of frames
    above: npt.NDArray[np.bool_] | None = None
    colour: npt.NDArray[np.float32] | None = None
    coloured: int = 0  # frame up to which it was told


class Follower:
    """Follows a router through the newest sound by the voices it was taught.

    It looks near the speeds at which the router was heard; `wide` looks everywhere, for a
    dial that was turned.
    """

    def __init__(
        self,
        grid: SpectrumGrid,
        *,
        flutes: int | None,
        plate_range_rpm: tuple[float, float] | None,
    ) -> None:
        self._grid = grid
        self._flutes = flutes
        self._whole = Candidates.between(*candidate_range_hz(plate_range_rpm))
        self._free_hz = free_range_hz(plate_range_rpm)
        self._near = self._whole
        self._kept_steps = round(KEPT_S / grid.step_s / 2)
        self._colour_frames = round(COLOUR_S / grid.step_s)
        self._lately: _Lately | None = None
        self._path: OnwardPath | None = None
        self.voices: Voices | None = None
        self._audible = np.zeros(0, np.int64)

    def learn(self, voices: Voices) -> None:
        """Take over what the router sounds like."""
        self.voices = voices
        self._audible = audible_orders(np.maximum(voices.idle, voices.cutting))
        self._near, self._path = self._whole, None

    def look_near(self, rotation_hz: FloatArray) -> None:
        """Look near these speeds from now on; NaN where it was off."""
        if np.isfinite(rotation_hz).any():
            low, high = np.nanpercentile(rotation_hz, [2, 98])
            self._near = Candidates.between(
                max(self._whole.lowest_hz, low * FOLLOW_DOWN),
                min(float(self._whole.rotation_hz[-1]), high * FOLLOW_UP),
            )
            self._path = None

    def follow(self, sound: RecentSound, *, frames: int, wide: bool) -> Turning | None:
        """The rotation through the newest frames; None while no voices are known.

        At least so many frames, as far as sound is kept; to a tenth of a percent or so.
        """
        if self.voices is None or sound.kept < 4:
            return None
        lately, fresh = self._taken_in(sound, frames)
        if wide:
            self._look_everywhere(lately)
        if self._path is None:
            fresh = len(lately.excess)
            most = max(fresh, self._kept_steps)
            self._path = OnwardPath(
                self._near.count, most=most, glide_cost=GLIDE, switch_cost=SWITCH
            )
        if fresh:
            axis = on_log_axis(lately.excess[-fresh:], grid=self._grid, candidates=self._near)
            both = (self.voices.idle, self.voices.cutting)
            self._path.add(EVIDENCE * comb_evidence(axis, voices=both, candidates=self._near))
        return self._told(sound, lately, -(-frames // 2))

    def refined(
        self, sound: RecentSound, rotation_hz: FloatArray
    ) -> tuple[FloatArray, FloatArray] | None:
        """The rotation through the newest frames and its deviation, to the last digits.

        `rotation_hz` is how it was told so far, NaN where off; None for more frames than kept.
        """
        if self.voices is None or self._lately is None or self._lately.end != sound.end:
            return None
        count = min(len(rotation_hz), len(self._lately.log_floor), sound.kept)
        rotation = rotation_hz[-count:].copy()
        deviation = COARSE_DEVIATION * rotation
        spectra, _ = sound.newest(count)
        floor = self._lately.log_floor[-count:]
        orders = self._audible
        for a, b in spans(np.isfinite(rotation)):
            if b - a < MIN_STRETCH_FRAMES:
                continue
            phasors = order_phasors(
                spectra[a:b], floor[a:b], rotation_hz=rotation[a:b], orders=orders, grid=self._grid
            )
            found = refine_stretch(
                phasors, rotation_hz=rotation[a:b], orders=orders, step_s=self._grid.step_s
            )
            rotation[a:b], deviation[a:b] = found.rotation_hz, found.deviation_hz
        return rotation, deviation

    def _taken_in(self, sound: RecentSound, frames: int) -> tuple[_Lately, int]:
        """The newest sound against its floor, and how many of its steps are new."""
        most, lately = 2 * self._kept_steps, self._lately
        if lately is None or not 0 <= sound.end - lately.end <= most // 2:
            beside = 2 * BESIDE_STEPS
            _, levels = sound.newest(min(max(most, frames + beside), sound.kept) // 2 * 2)
            self._lately = _Lately(sound.end, *against_floor(levels, grid=self._grid))
            self._path = None
            return self._lately, len(levels) // 2
        new = sound.end - lately.end
        if new:
            _, levels = sound.newest(most)
            if lately.colour is None or sound.end - lately.coloured >= self._colour_frames:
                lately.coloured = sound.end
                lately.colour, lately.above = rippled_colour(
                    levels, grid=self._grid, above=lately.above
                )
            floor = log_floor(levels[-new:], colour=lately.colour, grid=self._grid)
            over = levels[-new:] - floor
            steps = np.float32(0.5) * (over[::2] + over[1::2])
            lately.excess = _newest(lately.excess, steps, most // 2)
            lately.log_floor = _newest(lately.log_floor, floor[:, ::FLOOR_EVERY], most)
            lately.end = sound.end
        return lately, new // 2

    def _look_everywhere(self, lately: _Lately) -> None:
        assert self.voices is not None
        steps = Steps(self._grid, lately.excess, lately.log_floor[::2], lately.log_floor[::2])
        search = Search.over(steps, self._whole, flutes=self._flutes, free_hz=self._free_hz)
        path = two_voice_path(search, self.voices)
        self.look_near(np.where(path == OFF, np.nan, self._whole.rotation_hz[path]))

    def _told(self, sound: RecentSound, lately: _Lately, count: int) -> Turning:
        """What the course so far says of the newest `count` steps."""
        assert self.voices is not None
        assert self._path is not None
        path = self._path.newest(count + BESIDE_STEPS)
        excess = lately.excess[-len(path) :]
        steps = Steps(self._grid, excess, lately.log_floor[:0], lately.log_floor[:0])
        search = Search(steps, self._near, np.zeros((0, 0), np.uint8), self._flutes, self._free_hz)
        orders = search.orders(path)
        fits = order_fits(orders)
        idle = step_evidence(fits, self.voices.idle).astype(np.float64)
        cutting = step_evidence(fits, self.voices.cutting).astype(np.float64)
        rotation = sharpened(
            excess,
            np.where(path != OFF, search.rotation_hz(path), np.nan),
            orders=self._audible,
            grid=self._grid,
            frames=2 * len(path),
        )
        step = np.repeat(np.arange(len(path)), 2)[-2 * count :]
        rotation = self._nearer(sound, lately, rotation)[-2 * count :]
        return Turning(
            rotation_hz=rotation,
            deviation_hz=COARSE_DEVIATION * rotation,
            cutting=((cutting > idle) & (path != OFF))[step],
            lead=(cutting - idle)[step],
            sureness=np.maximum(idle, cutting)[step],
            teeth=teeth_orders(orders, self._flutes)[step],
            voices=self.voices,
        )

    def _nearer(self, sound: RecentSound, lately: _Lately, rotation_hz: FloatArray) -> FloatArray:
        """The rotation by how far all orders turn from frame to frame, a few frames together.

        Two steps of Newton's towards the greatest sum of the orders' products with the frame
        before, from a start that must be near.
        """
        count, orders = len(rotation_hz), self._audible
        on = np.isfinite(rotation_hz)
        if count < 2 or not on.any():
            return rotation_hz
        near = np.where(on, rotation_hz, rotation_hz[on].mean())
        spectra, _ = sound.newest(count)
        phasors = order_phasors(
            spectra, lately.log_floor[-count:], rotation_hz=near, orders=orders, grid=self._grid
        )
        turn = 2 * np.pi * self._grid.step_s * orders
        product = phasors[1:] * phasors[:-1].conj()
        product *= np.exp(-0.5j * (near[1:] + near[:-1])[:, None] * turn)
        product[~(on[1:] & on[:-1])] = 0
        product = uniform_filter1d(product, TOGETHER, axis=0, mode="constant")
        off = np.zeros(len(product))
        for _ in range(2):
            turned = product * np.exp(-1j * off[:, None] * turn)
            bend = turned.real @ turn**2
            off += np.where(bend > 0, turned.imag @ turn / np.maximum(bend, 1e-9), 0.0)
        off = np.pad(off, (1, 0), mode="edge")
        return rotation_hz + np.clip(off, -MOST_OFF * near, MOST_OFF * near)


def _newest(
    old: npt.NDArray[np.float32], new: npt.NDArray[np.float32], most: int
) -> npt.NDArray[np.float32]:
    return np.concatenate([old[max(0, len(old) + len(new) - most) :], new])
