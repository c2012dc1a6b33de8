"""The sound of a take, with the spindle speed drawn on it."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter, NullLocator

from analysis.hearing.listener import Hearing
from analysis.hearing.overview import Overview
from analysis.pictures.style import INK, PAPER, QUIET_TO_LOUD, SPINDLE, clock

FloatArray = npt.NDArray[np.float64]

_LOWEST_HZ = 80.0
_HIGHEST_HZ = 10_000.0
_ROWS = 360
_SLOPE_ROWS = 30
_LEAST_SHOWN_DB = 30.0
_LONG_LINE = 8_000  # points; a longer line is drawn as dots, or its file grows without end
_RPM_TICKS = (8_000, 12_000, 18_000, 26_000, 36_000)


def draw_spectrogram(axes: Axes, hearing: Hearing, *, flutes: int | None) -> None:
    """Draw level over time and frequency (log axis), and the spindle's track on it.

    The line lies at the rotation frequency, rpm/60; a thinner one at the tooth-pass frequency,
    flutes times that, once the flutes are known. The right-hand axis reads the lower line in rpm.
    """
    overview, track = hearing.overview, hearing.track
    top_hz = min(_HIGHEST_HZ, float(overview.frequency_hz[-1]))
    grid_hz = np.geomspace(_LOWEST_HZ, top_hz, _ROWS)
    level_db = _levelled(_on_grid(overview, grid_hz))
    # White is the usual level between the tones, black the loudest of them.
    quiet_db, loud_db = (float(x) for x in np.percentile(level_db, [45, 99.8]))
    axes.pcolormesh(
        _borders(overview.time_s),
        _log_borders(grid_hz),
        level_db.T,
        cmap=QUIET_TO_LOUD,
        vmin=min(quiet_db, loud_db - _LEAST_SHOWN_DB),
        vmax=loud_db,
        shading="flat",
        rasterized=True,
    )
    line: dict[str, Any] = {
        "color": SPINDLE,
        "path_effects": [patheffects.withStroke(linewidth=4.0, foreground=PAPER)],
        "rasterized": len(track.time_s) > _LONG_LINE,
        "zorder": 3,
    }
    rotation_hz = track.spindle_rpm / 60
    axes.plot(track.time_s, rotation_hz, lw=2.0, **line)
    _name_line(axes, track.time_s, rotation_hz, "spindle")
    if flutes is not None and flutes > 1:
        axes.plot(track.time_s, flutes * rotation_hz, lw=1.2, ls=(0, (4, 2)), **line)
        _name_line(axes, track.time_s, flutes * rotation_hz, f"its {flutes} teeth")
    axes.set_yscale("log")
    axes.set_ylim(_LOWEST_HZ, top_hz)
    axes.set_xlim(0, hearing.duration_s)
    axes.yaxis.set_major_locator(_ticks([100, 200, 500, 1_000, 2_000, 5_000, 10_000], top_hz))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(_hertz))
    axes.xaxis.set_major_formatter(FuncFormatter(clock))
    axes.set_ylabel("frequency")
    _rpm_axis(axes, top_hz)


def _rpm_axis(axes: Axes, top_hz: float) -> None:
    right = axes.twinx()
    right.set_yscale("log")
    right.set_ylim(_LOWEST_HZ * 60, top_hz * 60)
    right.spines["right"].set_visible(True)
    right.yaxis.set_major_locator(_ticks(list(_RPM_TICKS), top_hz * 60))
    right.yaxis.set_minor_locator(NullLocator())
    right.yaxis.set_minor_formatter(NullFormatter())
    right.yaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    right.tick_params(labelsize=8, colors=SPINDLE, labelcolor=SPINDLE)
    right.spines["right"].set_color(SPINDLE)
    right.set_ylabel("spindle, rpm", color=SPINDLE, loc="bottom")


def _ticks(values: list[int], highest: float) -> FixedLocator:
    return FixedLocator([value for value in values if value <= highest * 1.001])


def _hertz(hertz: float, _position: int | None) -> str:
    return f"{hertz / 1000:g} kHz" if hertz >= 1000 else f"{hertz:g} Hz"


def _name_line(axes: Axes, time_s: FloatArray, line_hz: FloatArray, name: str) -> None:
    """Write the line's name above its first steady stretch."""
    running = np.flatnonzero(np.isfinite(line_hz))
    if running.size == 0:
        return
    at = running[min(running.size - 1, running.size // 12)]
    axes.annotate(
        name,
        (time_s[at], line_hz[at]),
        xytext=(0, 5),
        textcoords="offset points",
        fontsize=8.5,
        fontweight="bold",
        color=INK,
        path_effects=[patheffects.withStroke(linewidth=3.0, foreground=PAPER)],
        zorder=4,
    )


def _on_grid(overview: Overview, grid_hz: FloatArray) -> FloatArray:
    """Resample each column of the overview onto `grid_hz`: shape (times, grid)."""
    right = np.clip(np.searchsorted(overview.frequency_hz, grid_hz), 1, None)
    right = np.minimum(right, len(overview.frequency_hz) - 1)
    below_hz, above_hz = overview.frequency_hz[right - 1], overview.frequency_hz[right]
    share = np.clip((grid_hz - below_hz) / (above_hz - below_hz), 0, 1)
    level = np.asarray(overview.level_db, dtype=np.float64)
    mixed: FloatArray = level[:, right - 1] * (1 - share) + level[:, right] * share
    return mixed


def _levelled(level_db: FloatArray) -> FloatArray:
    """Take out the slope of the sound over frequency, so that rumble does not hide the tones.

    The usual level of each row, smoothed over an octave or so, is subtracted: single tones,
    which are narrower, stay, and so does everything that changes over time.
    """
    usual_db = np.median(level_db, axis=0)
    padded = np.pad(usual_db, _SLOPE_ROWS, mode="edge")
    kernel = np.ones(2 * _SLOPE_ROWS + 1) / (2 * _SLOPE_ROWS + 1)
    return level_db - np.convolve(padded, kernel, mode="valid")


def _borders(centres: FloatArray) -> FloatArray:
    if len(centres) == 1:
        return np.array([centres[0] - 0.5, centres[0] + 0.5])
    middle = (centres[1:] + centres[:-1]) / 2
    first, last = 2 * centres[0] - middle[0], 2 * centres[-1] - middle[-1]
    return np.concatenate([[first], middle, [last]])


def _log_borders(centres_hz: FloatArray) -> FloatArray:
    return np.exp(_borders(np.log(centres_hz)))
