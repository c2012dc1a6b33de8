"""A dial card as the bytes of a picture file."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def card_png(figure: Figure) -> bytes:
    """A card as PNG at 300 dots to the inch, which the file says, so that it prints true."""
    from analysis.pictures.dial_card import PNG_DPI
    from analysis.pictures.style import drawing

    out = io.BytesIO()
    with drawing():
        figure.savefig(out, format="png", dpi=PNG_DPI)
    return out.getvalue()
