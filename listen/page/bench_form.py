"""The set-up as the page sends it: what the person typed, read as the command line reads it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from analysis.errors import ToothbeatError
from listen.options import (
    EDGE,
    TRIM,
    BandType,
    BitType,
    FlutesType,
    LengthType,
    MaterialType,
    SpeedRangeType,
    SpeedType,
)
from listen.setup import Bench, lay_out

_MOST_LETTERS = 60
_FIELDS: dict[str, click.ParamType[Any]] = {
    "edge": EDGE,
    "bit": BitType(),
    "flutes": FlutesType(),
    "trim": TRIM,
    "material": MaterialType(),
    "thickness": LengthType(noun="a thickness", limits_mm=(0.5, 150.0)),
    "band": BandType(),
    "range": SpeedRangeType(),
    "max_rpm": SpeedType(),
}
_NOUNS = {
    "edge": "Edge",
    "bit": "Bit",
    "flutes": "Flutes",
    "trim": "Trim",
    "material": "Material",
    "thickness": "Thickness",
    "band": "Band",
    "range": "Speeds on the plate",
    "max_rpm": "Marked maximum",
    "router": "Router",
}


class FormError(ToothbeatError, ValueError):
    """A field that cannot be read; `field` names it."""

    def __init__(self, field: str, text: str) -> None:
        super().__init__(text)
        self.field = field


def read_form(form: object) -> Bench:
    """Read the set-up; fields that are missing or empty are "not told".

    Raises
    ------
    FormError
        For the first field that makes no sense.
    SetupError
        If the values do not go together.
    """
    values = read_values(form)
    return lay_out(
        edge=values["edge"],
        bit=values["bit"],
        flutes=values["flutes"],
        trim=values["trim"],
        material=values["material"],
        band=values["band"],
        plate_range_rpm=values["range"],
        max_rpm=values["max_rpm"],
        router=values["router"],
    )


def read_values(form: object) -> dict[str, Any]:
    """What was typed, as the command line's own options; None where nothing was.

    Raises
    ------
    FormError
        For the first field that makes no sense.
    """
    if not isinstance(form, Mapping):
        raise FormError("", "The set-up did not arrive as it should. Load the page again.")
    return {**{field: _value(form, field) for field in _FIELDS}, "router": _text(form, "router")}


def kept_form(form: object) -> dict[str, str]:
    """The fields worth remembering, as typed."""
    if not isinstance(form, Mapping):
        return {}
    wanted = (*_NOUNS, "units")
    return {key: str(form[key])[:_MOST_LETTERS] for key in wanted if form.get(key)}


def _text(form: Mapping[str, Any], field: str) -> str | None:
    text = str(form.get(field) or "").strip()
    if len(text) > _MOST_LETTERS:
        raise FormError(field, f"{_NOUNS[field]}: that is too long to be right.")
    return text or None


def _value(form: Mapping[str, Any], field: str) -> Any:
    text = _text(form, field)
    if text is None:
        return None
    try:
        return _FIELDS[field].convert(text, None, None)
    except click.BadParameter as error:
        raise FormError(field, f"{_NOUNS[field]}: {error.message}") from None
