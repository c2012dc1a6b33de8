"""Figures as the bytes of a file."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from analysis.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FigureKind = Literal["png", "svg", "pdf"]
FIGURE_KINDS: tuple[FigureKind, ...] = ("png", "svg", "pdf")

_DOTS_PER_INCH = 130


def figure_bytes(figure: Figure, kind: FigureKind) -> bytes:
    """Render a figure; the same figure gives the same bytes, on any day."""
    from analysis.pictures.style import drawing

    undated: dict[str, None] = {} if kind == "png" else {"Date": None}
    if kind == "pdf":
        undated = {"CreationDate": None}
    out = io.BytesIO()
    with drawing():
        figure.savefig(out, format=kind, dpi=_DOTS_PER_INCH, metadata=undated)
    return out.getvalue()


def figure_kind(path: Path) -> FigureKind:
    """Tell from a file's name what kind of figure it is to hold."""
    for kind in FIGURE_KINDS:
        if path.suffix.lower() == f".{kind}":
            return kind
    raise InputError("figure", path.name, "a name that ends in .png, .svg or .pdf")


def inline_svg(figure: Figure) -> str:
    """Render a figure as an address that holds the whole picture, for an `img` element."""
    return "data:image/svg+xml;base64," + base64.b64encode(figure_bytes(figure, "svg")).decode()
