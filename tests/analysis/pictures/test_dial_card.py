"""The card is as large as it says, and holds what it must."""

import struct

import pytest

from analysis.dial.fitting import fit_curve
from analysis.dial.settings import parse_settings
from analysis.pictures.dial_card import (
    CARD_MM,
    CardText,
    card_figure,
    card_sheet,
)
from listen.dial.card_file import card_png

TEXT = CardText(router="bench", made_on="2026-11-25")


def words(written: str, count: int) -> list[str]:
    curve = fit_curve(
        settings=parse_settings(written),
        speeds_rpm=[8_000.0 + 1_500 * i for i in range(count)],
        speeds_u95_rpm=[3.0] * count,
    )
    figure = card_figure(curve, TEXT)
    return [text.get_text() for text in figure.texts]


@pytest.mark.parametrize(
    ("written", "count"), [("1,6", 2), ("1..6", 6), ("A..G", 7), ("1..10", 10)]
)
def test_every_setting_is_on_the_card_with_room_for_the_bits_mark(written: str, count: int) -> None:
    told = words(written, count)
    for setting, rpm in zip(
        parse_settings(written), range(8_000, 8_000 + 1_500 * count, 1_500), strict=True
    ):
        assert setting.label in told
        assert f"{rpm:,}" in told
    assert any("bit" in text and "mark" in text for text in told)
    assert TEXT.router in told


def test_the_png_says_its_true_size() -> None:
    curve = fit_curve(
        settings=parse_settings("1..6"),
        speeds_rpm=[8e3, 1e4, 12e3, 14e3, 17e3, 22e3],
        speeds_u95_rpm=[3.0] * 6,
    )
    png = card_png(card_figure(curve, TEXT))
    width, height = struct.unpack(">II", png[16:24])
    at = png.index(b"pHYs") + 4
    per_metre = struct.unpack(">I", png[at : at + 4])[0]
    # Half a dot of rounding either way is 0.1 mm at 300 dots to the inch.
    assert 1000 * width / per_metre == pytest.approx(CARD_MM[0], abs=0.1)
    assert 1000 * height / per_metre == pytest.approx(CARD_MM[1], abs=0.1)


def test_nothing_is_written_outside_the_card_or_over_its_neighbour() -> None:
    curve = fit_curve(
        settings=parse_settings("1..16"),
        speeds_rpm=[8e3 + 1e3 * i for i in range(16)],
        speeds_u95_rpm=[3.0] * 16,
    )
    figure = card_figure(curve, CardText("the router with the longest name of all", "2026-11-25"))
    figure.canvas.draw()
    boxes = [text.get_window_extent() for text in figure.texts]
    for box in boxes:
        assert box.x0 >= 0
        assert box.x1 <= figure.bbox.x1
        assert box.y0 >= 0
        assert box.y1 <= figure.bbox.y1
    clashes = [
        (figure.texts[i].get_text(), figure.texts[j].get_text())
        for i in range(len(boxes))
        for j in range(i)
        if boxes[i].x0 < boxes[j].x1 and boxes[j].x0 < boxes[i].x1
        and boxes[i].y0 < boxes[j].y1 - 1 and boxes[j].y0 < boxes[i].y1 - 1
    ]  # fmt: skip
    assert not clashes


def test_the_sheet_is_a4() -> None:
    curve = fit_curve(
        settings=parse_settings("1,2"), speeds_rpm=[8e3, 1e4], speeds_u95_rpm=[3.0, 3.0]
    )
    inches = card_sheet(curve, TEXT).get_size_inches()
    assert inches * 25.4 == pytest.approx([210, 297])  # ISO 216
