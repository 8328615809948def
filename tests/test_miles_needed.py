import math

import pytest

from trialkit import columns as c
from trialkit import display
from trialkit.planning.miles_needed import least_wear_in, miles_needed
from trialkit.planning.schedule import Schedule

SCHEDULE = Schedule(stations=4, repeats=2, error_in=0.04, step_in=0.0)


def test_wear_that_can_be_told_from_none():
    # by hand: 2 * 1.644854 * sqrt(2 / 8) * 0.04
    assert least_wear_in(SCHEDULE) == pytest.approx(0.0657942, abs=5e-7)


def test_a_coarse_tool_hides_a_step_at_all_stations_alike():
    # by hand: rounding alone, s = 0.1 / sqrt(12), and twice half a step on top
    coarse = Schedule(stations=1, error_in=0.0, step_in=0.1)
    assert least_wear_in(coarse) == pytest.approx(3.289707 * math.sqrt(2 / 12) * 0.1 + 0.1, abs=1e-6)


def test_slow_wear_takes_more_miles():
    found = miles_needed(SCHEDULE, {"steel": 4.0, "carbide": 0.4, "glass": 0.0}, {"steel": "plain steel"})
    miles = found.table[c.MILES_TO_SEE_MI].tolist()
    assert miles[0] == pytest.approx(1000 * 0.0657942 / 4, rel=1e-5)
    assert miles[1] == pytest.approx(10 * miles[0])
    assert math.isinf(miles[2])
    assert math.isinf(found.table[c.MILES_TO_KNOW_MI].iloc[2])
    assert found.sentences() == (
        '"No measurable wear" on plain steel means something only after about 17 miles with the blade down: less than 0.066 '
        "in of wear cannot be told from none.",
        '"No measurable wear" on carbide means something only after about 170 miles with the blade down: less than 0.066 in '
        "of wear cannot be told from none.",
        "Glass is assumed not to wear, so no number of miles shows its wear.",
    )
    assert found.sentence() == " ".join(found.sentences())


def test_metric_words():
    with display.showing("metric"):
        said = miles_needed(SCHEDULE, {"steel": 4.0}).sentence()
    # by hand: 17 miles are 27 km, 0.0658 in are 1.67 mm
    assert "27 kilometers" in said
    assert "1.7 mm" in said


def test_a_negative_rate_is_refused():
    with pytest.raises(ValueError, match="the wear rate of steel is -1"):
        miles_needed(SCHEDULE, {"steel": -1.0})
