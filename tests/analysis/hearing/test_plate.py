import pytest

from analysis.hearing.plate import candidate_range_hz, free_range_hz


@pytest.mark.parametrize(
    ("plate_rpm", "low_hz", "high_hz"),
    [
        # A third of the plate's lowest speed may be lost in the cut, 8 % on top of its highest.
        ((12_000.0, 24_000.0), 12_000 * 2 / 3 / 60, 24_000 * 1.08 / 60),
        (None, 8_000 * 2 / 3 / 60, 35_000 * 1.08 / 60),
    ],
)
def test_where_the_rotation_is_looked_for(
    plate_rpm: tuple[float, float] | None, low_hz: float, high_hz: float
) -> None:
    assert candidate_range_hz(plate_rpm) == pytest.approx((low_hz, high_hz))


def test_where_a_router_of_that_plate_runs_free() -> None:
    """The lowest setting may be 8 % under what the plate says, the highest is not over it."""
    assert free_range_hz((10_000.0, 24_000.0)) == pytest.approx((9_200 / 60, 400.0))
