"""Lengths and speeds as people write them, read exactly and shown in their own units.

Inches exist here and nowhere deeper: everything behind this module is in mm and rpm.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from analysis.coaching.wording import Units
from analysis.errors import ToothbeatError

MM_PER_INCH = Fraction(254, 10)

_MM_PER_UNIT: dict[str, Fraction] = {
    "um": Fraction(1, 1000),
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "km": Fraction(1_000_000),
    "thou": MM_PER_INCH / 1000,
    "in": MM_PER_INCH,
    "ft": MM_PER_INCH * 12,
}
_METRIC = {"um", "mm", "cm", "m", "km"}
_SPELLINGS = {
    "µm": "um", "μm": "um", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm",
    "millimeters": "mm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm",
    "centimeters": "cm", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    '"': "in", "″": "in", "”": "in", "“": "in", "''": "in", "inch": "in", "inches": "in",
    "'": "ft", "′": "ft", "’": "ft", "foot": "ft", "feet": "ft",
}  # fmt: skip
_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
    "⅓": "1/3", "⅔": "2/3",
}  # fmt: skip

# A mixed number ("1-1/2", "1 1/2"), a fraction, or a decimal; then its unit, if any.
_FRACTION = r"(?:(?P<whole>[0-9]+)(?:\s*-\s*|\s+))?(?P<top>[0-9]+)\s*/\s*(?P<under>[0-9]+)"
_DECIMAL = r"(?P<decimal>[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_PART = re.compile(rf"\s*(?:{_FRACTION}|{_DECIMAL})\s*(?P<unit>''|[^\W\d]+|[\"'″′”“’])?\s*")
_TOO_LONG = 60  # characters; no length needs more, and no number is then too big to hold
_RANGE_DASH = re.compile(r"\s+to\s+|\s*[-–—]\s*")

_HOW = "Write it with its unit, like 600mm, 60cm, 24in, 1-1/2in or 1ft 3in"


class UnitsError(ToothbeatError, ValueError):
    """A length or speed that cannot be read; the message says what to write instead."""


@dataclass(frozen=True, slots=True)
class Length:
    """An exact length in mm, and the system of units it was written in.

    >>> Length.parse("1-1/2in")
    Length(mm=Fraction(381, 10), units=<Units.INCH: 'in'>)
    """

    mm: Fraction
    units: Units

    @classmethod
    def parse(cls, text: str) -> Length:
        """Read one length; the sign is kept, so that a range check can refuse it by name.

        Raises
        ------
        UnitsError
            For anything that is not a number with a unit of length.
        """
        stripped = text.strip()
        sign = -1 if stripped.startswith(("-", "−")) else 1
        parts = _parts(stripped.lstrip("+-−"), shown=text)
        units = [unit for _, unit in parts]
        if units == [None]:
            raise UnitsError(
                f'"{text}" has no unit. Write {stripped}mm for millimetres or '
                f"{stripped}in for inches."
            )
        if len(parts) > 1 and units != ["ft", "in"]:
            raise UnitsError(f'"{text}" is not a length I can read. {_HOW}.')
        total = sum((number * _MM_PER_UNIT[unit] for number, unit in parts if unit), Fraction(0))
        return cls(sign * total, Units.MM if _METRIC.issuperset(units) else Units.INCH)


def parse_length_range(text: str) -> tuple[Length, Length]:
    """Read two lengths, "0.08mm-0.15mm", "0.08-0.15mm" or ".003in to .006in".

    A first number without a unit takes the second one's.

    Raises
    ------
    UnitsError
        Where no reading gives two lengths, the second the longer.
    """
    problem = UnitsError(
        f'"{text}" is not a range of lengths. Write it like 0.08mm-0.15mm or .003in-.006in.'
    )
    for dash in _RANGE_DASH.finditer(text[: 2 * _TOO_LONG]):
        left, right = text[: dash.start()], text[dash.end() :]
        unit = re.search(r"[^\d\s.,/]+\s*$", right)
        if re.fullmatch(r"[\s\d.,/½¼¾⅛⅜⅝⅞-]+", left) and unit:
            left += unit.group()
        try:
            low, high = Length.parse(left), Length.parse(right)
        except UnitsError as error:
            if "has no unit" in str(error):
                problem = error
            continue
        if 0 < low.mm < high.mm:
            return low, high
        problem = UnitsError(f'"{text}" must run from a smaller to a larger length, above zero.')
    raise problem


def parse_rpm(text: str) -> float:
    """Read a speed: "18000", "18,000", "18 000", "18k", "18.5k", any of them with "rpm".

    >>> parse_rpm("18,000 rpm")
    18000.0
    """
    cleaned = re.sub(r"\s*(rpm|/min|1/min|min-1)\s*$", "", text.strip().lower())
    if thousands := re.fullmatch(r"(\d+(?:\.\d+)?)\s*k", cleaned):
        return float(thousands.group(1)) * 1000
    if re.fullmatch(r"\d{1,3}([, '’\u00a0\u202f]\d{3})+|\d+(\.\d+)?", cleaned):
        return float(re.sub(r"[^\d.]", "", cleaned))
    raise UnitsError(f'"{text}" is not a spindle speed. Write it like 18000 or 18k.')


def parse_rpm_range(text: str) -> tuple[float, float]:
    """Read the speed range on a router's plate: "8000-24000", "8,000–24,000 rpm", "8k-24k".

    >>> parse_rpm_range("8k-24k")
    (8000.0, 24000.0)
    """
    halves = _RANGE_DASH.split(text.strip())
    if len(halves) != 2:
        raise UnitsError(f'"{text}" is not a range of speeds. Write it like 8000-24000.')
    low, high = parse_rpm(halves[0]), parse_rpm(halves[1])
    if not 0 < low < high:
        raise UnitsError(f'"{text}" must run from the lower speed to the higher one.')
    return low, high


def show_length(mm: float | Fraction, units: Units) -> str:
    """Show a length: "12.7 mm", or inches by the fraction where one fits, "23-5/8 in".

    >>> show_length(38.1, Units.INCH), show_length(600, Units.MM)
    ('1-1/2 in', '600 mm')
    """
    if units is Units.MM:
        return f"{_trimmed(float(mm), 2)} mm"
    inches = Fraction(mm) / MM_PER_INCH
    nearest = Fraction(round(inches * 64), 64)
    # Half a thousandth is closer than anyone measures wood.
    if nearest <= 0 or abs(inches - nearest) > Fraction(1, 2000):
        return f"{_trimmed(float(inches), 3)} in"
    whole, rest = divmod(nearest, 1)
    if not rest:
        return f"{whole} in"
    return f"{whole}-{rest} in" if whole else f"{rest} in"


def _parts(text: str, *, shown: str) -> list[tuple[Fraction, str | None]]:
    """Split into (number, unit) pairs: one for "24in", two for "1ft 3in"."""
    if len(text) > _TOO_LONG:
        raise UnitsError(f"A length of {len(text)} characters is not one I can read. {_HOW}.")
    for glyph, spelled in _VULGAR.items():
        text = text.replace(glyph, f" {spelled}")
    found, at = [], 0
    while at < len(text):
        match = _PART.match(text, at)
        if not match or match.end() == at:
            raise UnitsError(f'"{shown}" is not a length I can read. {_HOW}.')
        found.append((_number(match, shown), _unit(match["unit"], shown)))
        at = match.end()
    if not found:
        raise UnitsError(f"A length is missing. {_HOW}.")
    return found


def _number(match: re.Match[str], shown: str) -> Fraction:
    if match["decimal"] is None:
        if int(match["under"]) == 0:
            raise UnitsError(f'"{shown}" divides by zero. {_HOW}.')
        return int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["under"]))
    digits = match["decimal"]
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
        # A thousands separator in one country, a decimal sign in the next.
        plain = digits.replace(",", "")
        raise UnitsError(
            f'"{shown}" can be read two ways. Write {plain}{match["unit"] or ""} or '
            f"{digits.replace(',', '.')}{match['unit'] or ''}."
        )
    return Fraction("0" + digits.replace(",", ".").rstrip("."))


def _unit(written: str | None, shown: str) -> str | None:
    if written is None:
        return None
    name = written.lower()
    name = _SPELLINGS.get(name, name)
    if name not in _MM_PER_UNIT:
        raise UnitsError(
            f'I don\'t know the unit "{written}" in "{shown}". Use mm, cm, m, in or ft: '
            "600mm, 24in, 1-1/2in."
        )
    return name


def _trimmed(value: float, places: int) -> str:
    return f"{value:.{places}f}".rstrip("0").rstrip(".")
