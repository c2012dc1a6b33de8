"""The pictures of a review: what they must show, read back from the figures themselves."""

import dataclasses

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from analysis.coaching.summary import review_take
from analysis.coaching.verdict import Verdict
from analysis.coaching.wording import Units
from analysis.pictures.review import (
    against_band_figure,
    review_sheet,
    spectrogram_figure,
    timeline_figure,
)
from analysis.pictures.style import LOOKS
from tests.listen.hearings import DURATION_S, PASSES, SETUP, VERDICTS, hearing

HEARING = hearing()
REVIEW = review_take(HEARING, SETUP, Units.MM)


def words(figure: Figure) -> list[str]:
    figure.draw_without_rendering()
    return [
        text.get_text()
        for text in figure.findobj(lambda artist: isinstance(artist, Text | Annotation))
        if isinstance(text, Text) and text.get_text()
    ]


def luminance(colour: str) -> float:
    """Relative luminance by the definition of WCAG 2 (sRGB) [memory]."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def test_the_hearing_has_one_of_every_verdict() -> None:
    found = [one.reading.verdict.value if one.reading.verdict else None for one in REVIEW.passes]
    assert found == VERDICTS


def test_every_judged_pass_is_named_with_its_verdict_in_words() -> None:
    told = words(against_band_figure(REVIEW, units=Units.MM))
    for number, verdict in enumerate(VERDICTS, start=1):
        named = any(word.startswith(f"pass {number},") for word in told)
        assert named == (verdict is not None)
    for verdict in ("rubbing", "in the band", "overloading"):
        # Once over its ground and once for each pass that earned it.
        assert told.count(verdict) == 1 + VERDICTS.count(verdict)
    assert told.count("unsure") == VERDICTS.count("unsure")


def test_marks_lie_where_the_chip_thickness_is_and_span_its_interval() -> None:
    figure = against_band_figure(REVIEW, units=Units.MM)
    axes = figure.axes[0]
    judged = [one.reading for one in REVIEW.passes if one.reading.chip_thickness_mm is not None]
    marks = [line for line in axes.lines if line.get_marker() in {"v", "o", "^", "D"}]
    assert [line.get_xdata()[0] for line in marks] == pytest.approx(  # type: ignore[index]
        [reading.chip_thickness_mm for reading in judged]
    )
    # By hand for the pass of 18 s (see hearings.py): 0.7077 / 18 = 0.0393 mm.
    assert float(marks[0].get_xdata()[0]) == pytest.approx(0.0393, abs=0.00005)  # type: ignore[index,arg-type]


def test_inches_are_inches() -> None:
    figure = against_band_figure(REVIEW, units=Units.INCH)
    low, high = figure.axes[0].get_xlim()
    assert high < 0.02
    assert "chip thickness, in" in words(figure)
    assert low >= 0


def test_time_runs_over_the_take_and_each_pass_is_numbered() -> None:
    figure = timeline_figure(HEARING, REVIEW)
    assert figure.axes[0].get_xlim() == (0, DURATION_S)
    told = words(figure)
    assert {str(number) for number in range(1, len(PASSES) + 1)} <= set(told)
    assert {"stood still", "lifted off", "not judged"} <= set(told)


def test_a_long_take_is_broken_into_rows_like_a_score() -> None:
    # An hour and a minute: 61 minutes in rows of three are 21.
    long = dataclasses.replace(HEARING, duration_s=3_660.0)
    rows = timeline_figure(long, REVIEW).axes
    assert len(rows) == 21
    assert rows[0].get_xlim() == (0, 180)
    assert rows[-1].get_xlim() == (3_600, 3_780)


def test_a_crowd_of_passes_stands_side_by_side() -> None:
    many = review_take(hearing(passes=PASSES[1:] * 20), SETUP, Units.MM)
    figure = against_band_figure(many, units=Units.MM)
    told = words(figure)
    assert {"rubbing", "in the band", "overloading"} <= set(told)
    assert not any(word.startswith("pass 1,") for word in told)
    marks = [line for line in figure.axes[0].lines if line.get_marker() in {"v", "o", "^", "D"}]
    assert len(marks) == 100
    assert figure.get_figheight() < 5


def test_the_track_lies_at_the_rotation_and_the_teeth_at_their_multiple() -> None:
    axes = spectrogram_figure(HEARING, flutes=2).axes[0]
    rotation, teeth = (np.asarray(line.get_ydata(), float) for line in axes.lines)
    running = np.isfinite(rotation)
    np.testing.assert_allclose(rotation[running] * 60, HEARING.track.spindle_rpm[running])
    np.testing.assert_allclose(teeth[running], 2 * rotation[running])


def test_unknown_flutes_draw_no_teeth() -> None:
    assert len(spectrogram_figure(HEARING, flutes=None).axes[0].lines) == 1


def test_the_rpm_axis_reads_sixty_times_the_frequency() -> None:
    left, right = spectrogram_figure(HEARING, flutes=2).axes
    assert np.asarray(right.get_ylim()) == pytest.approx(60 * np.asarray(left.get_ylim()))


def test_verdicts_differ_in_shape_and_in_word() -> None:
    looks = [LOOKS[verdict] for verdict in Verdict]
    assert len({look.marker for look in looks}) == len(looks)
    assert [look.word for look in looks] == [verdict.value for verdict in Verdict]


@pytest.mark.parametrize("verdict", Verdict)
def test_a_verdict_is_dark_enough_to_read_on_paper(verdict: Verdict) -> None:
    # WCAG 2's minimum for text: contrast 4.5 to 1 [memory].
    assert 1.05 / (luminance(LOOKS[verdict].colour) + 0.05) >= 4.5


def test_a_take_without_passes_still_makes_a_sheet() -> None:
    bare = hearing(passes=())
    sheet = review_sheet(
        bare, review_take(bare, SETUP, Units.MM), flutes=2, units=Units.MM, title="Nothing cut"
    )
    assert "no pass could be held against a band" in words(sheet)


def test_drawing_leaves_the_shared_settings_alone() -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    review_sheet(HEARING, REVIEW, flutes=2, units=Units.MM, title="A sheet")
    assert dict(mpl.rcParams) == before
