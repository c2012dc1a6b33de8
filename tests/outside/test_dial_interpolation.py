"""The dial's curve against scipy's monotone interpolant on data from textbooks."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from analysis.dial.fitting import fit_curve
from analysis.dial.settings import Marks, Setting

# H. Akima, J. ACM 17 (1970), the example that shows up overshoot [memory].
AKIMA = (
    [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10],
    [10, 10, 10, 10, 10, 10, 10.5, 15, 50, 60, 85],
)
# F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980), data set RPN 14 [memory].
RPN_14 = (
    [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20],
    [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994],
)


@pytest.mark.parametrize("data", [AKIMA, RPN_14], ids=["akima", "rpn 14"])
def test_the_curve_equals_scipys_on_textbook_data(data: tuple[list[float], list[float]]) -> None:
    positions, values = data
    settings = [Setting(f"{p:g}", p, Marks.NUMBERS) for p in positions]
    curve = fit_curve(settings=settings, speeds_rpm=values, speeds_u95_rpm=[0.0] * len(values))
    along = np.linspace(positions[0], positions[-1], 501)
    told = [curve.speed_at(float(place)) for place in along]
    ours = np.array([speed.spindle_rpm for speed in told if speed is not None])
    theirs = PchipInterpolator(positions, values)(along)
    assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-12 * max(values))
    # What a monotone interpolant is for: no dip and no overshoot anywhere.
    assert np.diff(ours).min() >= -1e-12 * max(values)
    slack = 1e-12 * max(values)
    assert values[0] - slack <= ours.min() <= ours.max() <= values[-1] + slack
