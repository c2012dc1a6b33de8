"""Bit, router and work that cannot go together, and the speed to suit a hand."""

from typing import Any

import pytest

from analysis.cutting.bands import given_band
from analysis.cutting.pace import BURIED, TRIMMING, easy_speed
from analysis.cutting.tools import JobError, Trouble
from analysis.errors import InputError
from tests.analysis.cutting.jobs import job


@pytest.mark.parametrize(
    ("changes", "trouble"),
    [
        ({"work": {"trim_allowance_mm": 12.8}}, Trouble.TRIM_TOO_WIDE),
        ({"work": {"thickness_mm": 32.1}}, Trouble.FLUTES_TOO_SHORT),
        ({"work": {"inside_radius_mm": 1.4}}, Trouble.CORNER_TOO_TIGHT),
        ({"bit": {"max_rpm": 7_999.0}}, Trouble.MARKED_TOO_SLOW),
    ],
)
def test_what_cannot_go_together(changes: dict[str, Any], trouble: Trouble) -> None:
    with pytest.raises(JobError) as caught:
        job(**changes)
    assert caught.value.trouble is trouble


@pytest.mark.parametrize(
    "changes",
    [
        {"work": {"trim_allowance_mm": 12.7}},
        {"work": {"thickness_mm": 32.0}},
        {"work": {"inside_radius_mm": 1.5}},
        {"bit": {"max_rpm": 8_000.0}},
    ],
)
def test_what_just_goes_together(changes: dict[str, Any]) -> None:
    assert job(**changes).thinning > 0


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"bit": {"stick_out_mm": 31.0}}, "stick-out"),
        ({"bit": {"max_rpm": 60_000.0}}, "marked maximum"),
        ({"bit": {"flutes": 0}}, "flutes"),
        ({"router": {"plate_range_rpm": (24_000.0, 8_000.0)}}, "lowest speed first"),
        ({"router": {"plate_range_rpm": (8_000.0, 60_000.0)}}, "highest speed"),
        ({"router": {"input_power_w": -1.0}}, "input power"),
        ({"work": {"thickness_mm": float("nan")}}, "thickness"),
    ],
)
def test_what_cannot_be_at_all(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        job(**changes)


@pytest.mark.parametrize(
    ("bit_max_rpm", "plate_range_rpm", "expected"),
    [
        (None, None, 17_000),
        (15_200.0, None, 15_200),
        (15_200.0, (16_000.0, 24_000.0), 15_200),
        (None, (18_000.0, 24_000.0), 18_000),
        (None, (8_000.0, 14_000.0), 14_000),
    ],
)
def test_an_easy_speed_keeps_the_marking_above_all(
    bit_max_rpm: float | None, plate_range_rpm: tuple[float, float] | None, expected: float
) -> None:
    """60 x 50 mm/s x 0.66144/(0.05 x 3**0.12 mm x 2) is 17,391 rpm, a step down is 17,000."""
    speed = easy_speed(
        band=given_band(low_mm=0.05, high_mm=0.15),
        thinning=0.66144,
        flutes=2,
        hand=TRIMMING,
        bit_max_rpm=bit_max_rpm,
        plate_range_rpm=plate_range_rpm,
    )
    assert speed == expected


def test_a_buried_bit_is_fed_more_slowly() -> None:
    assert BURIED.brisk_mm_s < TRIMMING.unhurried_mm_s
