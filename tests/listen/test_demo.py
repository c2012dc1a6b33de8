"""`toothbeat demo`: a story that a newcomer can follow, and a page left behind."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from analysis.coaching.summary import review_take
from listen.ears import hear_take
from listen.setup import bench_of
from recordings_synthetic import ShippedTake, shipped_takes
from tests.listen.conftest import Said


def takes_with_passes() -> list[ShippedTake]:
    return [
        shipped
        for shipped in shipped_takes()
        if json.loads(shipped.truth_path.read_text())["passes"]
    ]


def test_the_demo_tells_its_story_and_leaves_a_page_that_asks_nothing_of_the_network(
    toothbeat: Callable[..., Said], tmp_path: Path
) -> None:
    page = tmp_path / "session.html"
    said = toothbeat("demo", "--report", page)
    assert (said.status, said.err) == (0, "")
    assert max(map(len, said.out.splitlines())) <= 80
    assert said.out.startswith("Everything here is invented")
    text = page.read_text()
    assert "Everything here is invented" in text
    for shipped in takes_with_passes():
        assert " ".join(shipped.story.split()) in " ".join(said.out.split())
        assert shipped.path.name in text
    for reach in ('src="http', 'href="http', "url(http", "<script", "@import", "<link"):
        assert reach not in text


@pytest.mark.parametrize("shipped", takes_with_passes(), ids=lambda shipped: shipped.name)
def test_the_demo_is_right_about_its_own_takes(shipped: ShippedTake) -> None:
    # Truth: the renderer's passes, and from them the chip by the exact chord (thinning at a
    # 1.6 mm trim of a 12.7 mm bit: 2 sqrt(0.126 * 0.874) = 0.6637) against 0.05 to 0.15 mm.
    truth = json.loads(shipped.truth_path.read_text())
    bench = bench_of(truth["setup"])
    heard = hear_take(shipped.path, flutes=2, plate_range_rpm=bench.cut.plate_range_rpm)
    review = review_take(heard.hearing, bench.cut, bench.units)
    assert len(review.passes) == len(truth["passes"])
    for coached, true in zip(review.passes, truth["passes"], strict=True):
        chip_mm = 0.6637 * true["chip_load_mm"]
        right = "rubbing" if chip_mm < 0.05 else "overloading" if chip_mm > 0.15 else "in the band"
        verdict = coached.reading.verdict
        assert verdict is not None
        assert verdict.value in {right, "unsure"}
