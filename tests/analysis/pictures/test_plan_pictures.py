"""The window, the directions and the card: they say what the plan says."""

from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from analysis.coaching.advice import advise
from analysis.coaching.plan import make_plan
from analysis.coaching.reading import read_pass
from analysis.coaching.summary import CoachedPass
from analysis.coaching.wording import Units
from analysis.cutting.tools import Mounting
from analysis.pictures.card import plan_card
from analysis.pictures.window import draw_window, plan_sheet
from tests.analysis.coaching.passes import HALF_INCH, heard
from tests.analysis.cutting.jobs import job


def words(figure: Figure) -> str:
    return "\n".join(text.get_text() for text in figure.findobj(Text) if isinstance(text, Text))


def drawn(figure: Figure) -> Any:
    """The canvas the figure was drawn on (matplotlib leaves its methods untyped)."""
    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    return canvas


@pytest.mark.parametrize("units", Units)
@pytest.mark.parametrize("mounting", Mounting)
def test_every_limit_is_named_on_the_sheet(units: Units, mounting: Mounting) -> None:
    plan = make_plan(job(router={"mounting": mounting}))
    sheet = plan_sheet(plan, units=units, title="a plan")
    said = words(sheet).replace("\n", " ")
    for limit in plan.window.limits:
        assert limit.name in said
    assert "start here" in said
    assert ("in/min" if units is Units.INCH else "mm/s") in said


def test_a_closed_window_says_so() -> None:
    plan = make_plan(job(router={"input_power_w": 10.0}))
    assert "no speed and feed keep every limit" in words(plan_sheet(plan, units=Units.MM, title=""))
    assert "NOT LIKE THIS" in words(plan_card(plan, units=Units.MM, title=""))


def test_passes_are_points_with_their_verdicts() -> None:
    passes = []
    for time_s in (20.0, 9.0, 3.0):
        reading = read_pass(heard(time_s=time_s, spindle_rpm=16_000), HALF_INCH)
        passes.append(CoachedPass(reading, advise(reading, HALF_INCH, Units.MM)))
    figure = Figure()
    draw_window(figure.subplots(), make_plan(job()).window, units=Units.MM, passes=passes)
    said = words(figure)
    assert all(word in said for word in ("rubbing", "in the band", "overloading", "1", "2", "3"))


def test_the_window_can_be_told_in_grey() -> None:
    """Inside the window the paper is tinted and hatched: darker than paper, lighter than ink."""
    figure = plan_sheet(make_plan(job()), units=Units.MM, title="")
    rgb = np.asarray(drawn(figure).buffer_rgba())[..., :3].astype(float)
    grey = rgb @ (0.299, 0.587, 0.114)
    tinted = ((grey > 150) & (grey < 245)).mean()
    assert tinted > 0.1


def test_the_card_carries_what_the_hands_need() -> None:
    plan = make_plan(job())
    card = plan_card(plan, units=Units.MM, title="1/2 in spiral")
    said = words(card)
    assert plan.start is not None
    assert f"{plan.start.spindle_rpm:,.0f} rpm" in said
    assert "7 to 13 s" in said
    assert "2.6 / 5.0 / 7.5 / 10.0 s" in said
    assert "Unplug" in said
    assert "maker" in said


@pytest.mark.parametrize("material", ["hardwood", "MDF"])
@pytest.mark.parametrize("share", [0.1, 1.0])
def test_nothing_on_the_card_runs_off_the_paper(material: str, share: float) -> None:
    plan = make_plan(
        job(
            work={"material": material, "trim_allowance_mm": 12.7 * share},
            router={"input_power_w": 2000.0},
        )
    )
    card = plan_card(plan, units=Units.INCH, title="spiral half: 1/2 in up-cut bit, 2 flutes")
    renderer = drawn(card).get_renderer()
    width, height = card.get_size_inches() * card.dpi
    texts = [*card.texts, *(text for axes in card.axes for text in (*axes.texts, axes.title))]
    assert len(texts) > 10
    for text in texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0
        assert box.x1 <= width
        assert box.y0 >= 0
        assert box.y1 <= height
