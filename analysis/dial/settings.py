"""What is written around a dial: numbers, halves between them, or letters."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import Enum

from analysis.errors import ToothbeatError

MOST_SETTINGS = 100
HIGHEST = 100.0

_NUMBER = re.compile(
    r"(?P<whole>\d+)?(?:[.,](?P<part>\d+))?(?P<vulgar>\s*[½¼¾]|[ -]1/[24]|[ -]3/4)?"
)
_VULGAR = {"½": 0.5, "¼": 0.25, "¾": 0.75, "1/2": 0.5, "1/4": 0.25, "3/4": 0.75}
_RUN = re.compile(r"\s*(\.\.|…|–|-|\bto\b)\s*")


class SettingError(ToothbeatError, ValueError):
    """A dial setting that cannot be read; the message says how to write it."""


class Marks(Enum):
    """What a dial is marked with."""

    NUMBERS = "numbers"
    LETTERS = "letters"


@dataclass(frozen=True, slots=True)
class Setting:
    """One place of the dial.

    Attributes
    ----------
    label : str
        As the person writes it: "3", "3.5", "C".
    position : float
        The number itself; for letters, A is 1, B is 2 and so on.
    marks : Marks
    """

    label: str
    position: float
    marks: Marks


def parse_setting(text: str) -> Setting:
    """Read one setting: "3", "3.5", "3½", "3 1/2", "C".

    >>> parse_setting("3½").position, parse_setting("c").label
    (3.5, 'C')

    Raises
    ------
    SettingError
        For anything else, or a number above 100.
    """
    cleaned = text.strip()
    if re.fullmatch(r"[A-Za-z]", cleaned):
        letter = cleaned.upper()
        return Setting(letter, float(ord(letter) - ord("A") + 1), Marks.LETTERS)
    match = _NUMBER.fullmatch(cleaned)
    if not cleaned or not match:
        raise SettingError(
            f'"{text}" is not a dial setting. Write the number or letter on the dial: 3, 3.5 or C.'
        )
    position = float(f"{match['whole'] or 0}.{match['part'] or 0}")
    position += _VULGAR.get((match["vulgar"] or "").strip(" -"), 0.0)
    if position > HIGHEST:
        raise SettingError(f'"{text}" is out of range: a dial is read from 0 to {HIGHEST:g}.')
    return Setting(f"{position:g}", position, Marks.NUMBERS)


def parse_settings(text: str) -> tuple[Setting, ...]:
    """Read settings in the order in which they were set: "1,2,3,4", "1..6", "A..G", "3 5 3".

    >>> [setting.label for setting in parse_settings("A..D, B")]
    ['A', 'B', 'C', 'D', 'B']

    Raises
    ------
    SettingError
        If one cannot be read, none is given, or numbers and letters are mixed.
    """
    found: list[Setting] = []
    for part in _parts(text):
        ends = _RUN.split(part)
        if len(ends) == 3 and ends[0] and ends[2] and "/" not in part:
            found += _run(parse_setting(ends[0]), parse_setting(ends[2]), part)
        else:
            found.append(parse_setting(part))
    if not found:
        raise SettingError(
            "No setting is given. Write them in the order you set them: 1,2,3,4,5,6."
        )
    if len(found) > MOST_SETTINGS:
        raise SettingError(f"{len(found)} settings are more than one dial has. Check the list.")
    if len({setting.marks for setting in found}) > 1:
        raise SettingError("A dial has numbers or letters, not both. Check the settings.")
    return tuple(found)


def _parts(text: str) -> list[str]:
    """Split at commas and semicolons; at spaces only where there are no others."""
    tied = re.sub(r"\s*(\.\.|…|–)\s*|\s+to\s+", lambda run: run[1] or "..", text.strip())
    parts = re.split(r"[,;]", tied) if re.search(r"[,;]", tied) else tied.split()
    return [part.strip() for part in parts if part.strip()]


def _run(first: Setting, last: Setting, part: str) -> list[Setting]:
    steps = last.position - first.position
    if first.marks is not last.marks or steps != int(steps) or abs(steps) > MOST_SETTINGS:
        raise SettingError(f'"{part}" is not a run of settings. Write it like 1..6 or A..G.')
    way = 1 if steps >= 0 else -1
    return [
        setting_at(first.position + way * step, marks=first.marks)
        for step in range(int(abs(steps)) + 1)
    ]


def setting_at(position: float, *, marks: Marks) -> Setting:
    """The setting at a position, labelled as a person would set it.

    Numbers are told to a tenth; between two letters the nearer one is named.

    >>> setting_at(2.7123, marks=Marks.NUMBERS).label
    '2.7'
    >>> setting_at(2.3, marks=Marks.LETTERS).label
    'between B and C, nearer B'
    """
    if marks is Marks.NUMBERS:
        return Setting(f"{round(position, 1):g}", position, marks)
    below = math.floor(position + 0.1)
    part = position - below
    if part < 0.1:
        return Setting(_letter(below), position, marks)
    between = f"between {_letter(below)} and {_letter(below + 1)}"
    nearer = "" if 0.4 <= part <= 0.6 else f", nearer {_letter(round(position))}"
    return Setting(between + nearer, position, marks)


def _letter(position: int) -> str:
    return chr(ord("A") + position - 1)
