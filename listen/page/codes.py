"""The QR code of an address, for a terminal and for the page."""

from __future__ import annotations

import io

import segno


def code_svg(url: str) -> str:
    """Draw the code as an SVG data address, black on white."""
    return str(segno.make(url, error="m", micro=False).svg_data_uri(scale=8, border=3))


def code_text(url: str) -> str:
    """Draw the code in half blocks, dark on light whatever the terminal's colours."""
    out = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(out=out, compact=True, border=2)
    return out.getvalue()
