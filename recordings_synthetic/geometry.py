"""Where a bit touches the wood: exact circles on a straight edge, cut against the feed.

The axis runs parallel to the finished line at half a bit diameter; wood stands from that line
out to the trim allowance. An edge of the bit meets wood at angle 0 (on the finished line) and
leaves it at the engagement angle.
"""

from __future__ import annotations

import numpy as np

from recordings_synthetic.timebase import Floats


def approach_mm(bit_diameter_mm: float, trim_allowance_mm: float) -> float:
    """Travel between first contact and the axis reaching the end: sqrt(a_e (D - a_e)).

    >>> round(approach_mm(12.7, 1.5875), 3)
    4.2
    """
    radial_mm = min(trim_allowance_mm, bit_diameter_mm / 2)
    return float(np.sqrt(radial_mm * (bit_diameter_mm - radial_mm)))


def arcs(
    travelled_mm: Floats,
    depth: Floats,
    *,
    edge_length_mm: float,
    bit_diameter_mm: float,
    trim_allowance_mm: float,
) -> tuple[Floats, Floats]:
    """Angles (rad) at which an edge enters and leaves the wood, along a pass.

    On the way in, the corner of the work hides the shallow part of the arc, so the thickest
    part of the chip is there at once; on the way out, the far corner takes the thick part
    first and the chip fades. Both angles are equal where nothing is touched.
    """
    radius = bit_diameter_mm / 2
    radial = np.clip(trim_allowance_mm * depth, 0, radius)
    leave = np.arccos(np.clip(1 - radial / radius, -1, 1))
    axis = travelled_mm - approach_mm(bit_diameter_mm, trim_allowance_mm)
    enter = np.arcsin(np.clip(-axis / radius, 0, 1))
    leave = np.minimum(leave, np.arcsin(np.clip((edge_length_mm - axis) / radius, 0, 1)))
    return np.minimum(enter, leave), leave


def chip_per_tooth_mm(feed_per_tooth: Floats, stand_out_mm: tuple[float, ...]) -> Floats:
    """Thickest chip of each tooth at 90 degrees, shape (teeth, time), with runout.

    A tooth cuts down to the deepest surface left by any tooth of the last turn:
    min over m of (m f_z + r_j - r_(j-m)), never under zero. With r all alike every tooth
    takes f_z; a tooth standing back by more than f_z cuts air.

    >>> chip_per_tooth_mm(np.array([0.05]), (0.0, 0.06)).ravel().round(3).tolist()
    [0.0, 0.1]
    """
    teeth = len(stand_out_mm)
    stand_out = np.array(stand_out_mm)
    chips = []
    for tooth in range(teeth):
        candidates = [
            m * feed_per_tooth + stand_out[tooth] - stand_out[(tooth - m) % teeth]
            for m in range(1, teeth + 1)
        ]
        chips.append(np.maximum(np.min(candidates, axis=0), 0))
    return np.array(chips)
