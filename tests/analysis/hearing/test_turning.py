"""What is kept of a course's orders for telling contact."""

import numpy as np
import pytest

from analysis.hearing.orders import TOP_ORDER
from analysis.hearing.turning import TEETH, teeth_orders


@pytest.mark.parametrize("flutes", [None, 1, 2, 3, 12])
def test_the_teeths_orders_are_the_multiples_of_the_flutes(flutes: int | None) -> None:
    orders = np.tile(np.arange(1, TOP_ORDER + 1) / 20, (3, 1)).astype(np.float32)
    told = teeth_orders(orders, flutes)
    every = flutes or 1
    expected = [every * n / 20 if every * n <= TOP_ORDER else -0.6 for n in range(1, TEETH + 1)]
    assert told.shape == (3, TEETH)
    assert told[1] == pytest.approx(expected)


def test_an_order_above_the_top_counts_as_noise_and_no_order_counts_too_much() -> None:
    orders = np.full((1, TOP_ORDER), np.nan, np.float32)
    orders[0, :2] = 30.0, -30.0
    assert teeth_orders(orders, 1)[0, :3] == pytest.approx([5, -2, -0.6])
