import math

import numpy as np
import pandas as pd
import pytest

from trialkit import columns as c
from trialkit import display
from trialkit.errors import NotEnoughDataError, UsageError
from trialkit.planning.gauge import NO_TOOL, fit_gauge
from trialkit.planning.miles_needed import least_wear_in
from trialkit.planning.schedule import Schedule
from trialkit.stats.crossed import INTERACTION, READER, READING_ERROR, REPEATABILITY
from trialkit.trial.heightchecks import repeatability_of


def bench(seed=1, pieces=4, stations=2, readers=3, repeats=3, error=0.02, between=0.03, tool="rule"):
    """Readings of a bench study; every piece is read at every station by every reader."""
    rng = np.random.default_rng(seed)
    rows = []
    for piece in range(pieces):
        for station in range(1, stations + 1):
            height = 4 + rng.standard_normal()
            for reader in range(readers):
                bias = between * np.random.default_rng(reader).standard_normal()
                rows += [
                    (
                        f"G{piece}",
                        station,
                        f"R{reader}",
                        k + 1,
                        height + bias + error * rng.standard_normal(),
                        tool,
                    )
                    for k in range(repeats)
                ]
    return pd.DataFrame(rows, columns=[c.PIECE, c.STATION, c.READER, c.REPEAT, c.HEIGHT_IN, c.TOOL])


def test_a_station_of_a_piece_is_a_piece():
    found = fit_gauge(bench())
    assert found.fits["rule"].n_pieces == 8
    assert found.fits["rule"].n_readers == 3


@pytest.mark.parametrize("seed", range(5))
def test_the_reading_error_is_that_of_the_wear_analysis(seed):
    two = pd.concat([bench(seed), bench(seed + 50, pieces=2, repeats=2, error=0.005, tool="caliper")])
    for readings in (two, two.drop(columns=c.TOOL), two.drop(index=[3, 4, 9]), bench(seed, repeats=1)):
        expected = repeatability_of(readings)
        assert fit_gauge(readings).repeatability_in == (None if expected is None else pytest.approx(expected))


def test_a_piece_read_with_two_tools():
    readings = pd.concat(
        [bench(), bench(tool="caliper").assign(**{c.HEIGHT_IN: lambda f: f[c.HEIGHT_IN] + 1})]
    )
    assert fit_gauge(readings).repeatability_in == pytest.approx(repeatability_of(readings))
    assert repeatability_of(readings) == pytest.approx(repeatability_of(bench()))


def test_the_limit_of_a_rise_is_that_of_the_check_of_heights():
    found = fit_gauge(bench())
    # by hand: twice the standard deviation of a difference of two single readings
    assert found.rise_limit_in == pytest.approx(2 * math.sqrt(2) * found.repeatability_in)


def test_tools_are_told_apart():
    found = fit_gauge(pd.concat([bench(), bench(2, error=0.004, tool="caliper")]))
    assert list(found.fits) == ["rule", "caliper"]
    assert found.fits["caliper"].variances[REPEATABILITY] < found.fits["rule"].variances[REPEATABILITY] / 4
    assert "repeats of all tools together" in found.notes[-1]
    assert found.table[c.TOOL].unique().tolist() == ["rule", "caliper"]


def test_parts_of_the_spread():
    found = fit_gauge(bench())
    rows = found.table.set_index(c.COMPONENT)
    v = found.fits["rule"].variances
    assert rows.loc["one person, repeated", c.ESTIMATE] == pytest.approx(math.sqrt(v[REPEATABILITY]))
    assert rows.loc["reading error in all", c.ESTIMATE] == pytest.approx(math.sqrt(v[READING_ERROR]))
    assert rows.loc["all readings", c.STUDY_PCT] == 100
    assert (rows[c.CONF_LOW] <= rows[c.ESTIMATE]).all()
    assert (rows[c.ESTIMATE] <= rows[c.CONF_HIGH]).all()
    assert found.anova[c.DF].sum() == 71
    assert found.distinct_categories("rule") > 10


def test_what_it_means_for_the_wear():
    found = fit_gauge(
        bench(),
        usable_depth_in={"steel": 3.0, "carbide": 0.6},
        rates={"steel": 4.0},
        stations=4,
        repeats=2,
        labels={"steel": "plain steel"},
    )
    rows, v = found.wear.set_index(c.EDGE_TYPE), found.fits["rule"].variances
    same = Schedule.of_repeatability(math.sqrt(v[REPEATABILITY]), 0.0, stations=4, repeats=2)
    assert rows.loc["steel", c.LEAST_WEAR_IN] == pytest.approx(least_wear_in(same))
    # by hand: another person each time adds the variance between people, which stations do not average out
    other = 3.289707 * math.sqrt(2 * (v[REPEATABILITY] / 8 + v[READER] + v[INTERACTION] / 4))
    assert rows.loc["steel", c.LEAST_WEAR_ANY_IN] == pytest.approx(other, rel=1e-6)
    assert rows.loc["carbide", c.WEAR_PCT] == pytest.approx(100 * 6 * math.sqrt(v[READING_ERROR]) / 0.6)
    miles = 1000 * rows.loc["steel", c.LEAST_WEAR_IN] / 4
    assert rows.loc["steel", c.MILES_TO_SEE_MI] == pytest.approx(miles)
    assert math.isnan(rows.loc["carbide", c.MILES_TO_SEE_MI])
    said = found.wear_sentences()
    assert said[0].endswith(f"plain steel takes about {math.ceil(miles)} miles to wear so much.")
    assert said[1].endswith("of wear of a set cannot be told from none.")


def test_what_is_said():
    found = fit_gauge(bench(seed=3))
    rows = found.table.set_index(c.COMPONENT)[[c.ESTIMATE, c.CONF_LOW, c.CONF_HIGH]]
    one, low, high = (f"{value:.2g}" for value in rows.loc["one person, repeated"])
    every = f"{rows.loc['reading error in all', c.ESTIMATE]:.2g}"
    assert found.sentence() == (
        f"With the rule, repeated readings of one person scatter with a standard deviation of {one} in (95% interval {low} to "
        f"{high}), readings of different people with {every} in."
    )
    assert any(note.startswith("Rule: 3 people read, too few") for note in found.notes)
    assert any(
        "people differ from piece to piece is no more than chance (p = " in note for note in found.notes
    )
    with display.showing("metric"):
        assert " mm (95% interval " in found.sentence()


def test_one_person():
    found = fit_gauge(bench(readers=1).drop(columns=c.TOOL))
    assert found.sentence().startswith(f"{NO_TOOL.capitalize()}, repeated readings of one person")
    assert "different people" not in found.sentence()
    assert any("one person read" in note for note in found.notes)
    assert math.isnan(found.table.set_index(c.COMPONENT).loc["from person to person", c.ESTIMATE])


def test_one_piece():
    found = fit_gauge(bench(pieces=1, stations=1))
    assert any("one piece was read" in note for note in found.notes)


def test_nobody_read_twice():
    found = fit_gauge(bench(repeats=1))
    assert found.repeatability_in is None
    assert found.rise_limit_in is None
    assert "people and pieces taken together" in found.sentence()
    assert any("nobody read a piece twice" in note for note in found.notes)


def test_people_who_share_no_piece():
    readings = bench(pieces=2, stations=1, readers=2)
    found = fit_gauge(readings[(readings[c.PIECE] == "G0") == (readings[c.READER] == "R0")])
    assert any("no piece was read by two people" in note for note in found.notes)


def test_all_repeats_agree():
    found = fit_gauge(bench(error=0.0))
    assert found.repeatability_in is None
    assert any("all repeats agree to the last digit" in note for note in found.notes)


def test_a_coarse_tool_whose_repeats_agree_hides_a_step():
    readings = bench(error=0.0, between=0.0)
    readings[c.HEIGHT_IN] = (readings[c.HEIGHT_IN] * 8).round() / 8
    found = fit_gauge(readings, usable_depth_in={"steel": 3.0}, rates={"steel": 4.0})
    # by hand: half a step of 1/8 in at either reading
    assert found.wear[c.LEAST_WEAR_IN].tolist() == pytest.approx([0.125])
    assert (
        "less than 0.12 in of wear" in found.wear_sentences()[0] and "32 miles" in found.wear_sentences()[0]
    )
    unmarked = fit_gauge(bench(error=0.0), usable_depth_in={"steel": 3.0}, rates={"steel": 4.0})
    assert unmarked.wear_sentences() == (
        "With the rule, all repeats agree, so how much wear can be told from none is not known.",
    )


def test_variances_below_zero_are_said():
    readings = bench(seed=6, between=0.0)
    readings[c.HEIGHT_IN] -= readings.groupby(c.READER)[c.HEIGHT_IN].transform("mean")
    found = fit_gauge(readings)
    assert any(
        "the variance from person to person comes out negative or zero" in note for note in found.notes
    )


def test_gaps_and_blank_cells():
    readings = bench()
    readings.loc[[3, 20], c.HEIGHT_IN] = np.nan
    notes = fit_gauge(readings).notes
    assert notes[0] == "2 gauge readings with a blank cell left out."
    assert any("fitted by likelihood" in note for note in notes)


def test_a_tool_without_an_error_is_said_and_left_out():
    single = bench(pieces=1, stations=1, readers=1, repeats=1, tool="tape")
    found = fit_gauge(pd.concat([bench(), single]))
    assert list(found.fits) == ["rule"]
    assert any(note.startswith("tape: nothing was read twice") for note in found.notes)


def test_too_little():
    with pytest.raises(NotEnoughDataError, match="The 1 gauge reading tell no reading error"):
        fit_gauge(bench(pieces=1, stations=1, readers=1, repeats=1))
    with pytest.raises(UsageError, match="lack the columns reader"):
        fit_gauge(bench().drop(columns=c.READER))
