from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t as student

from trialkit import columns as c
from trialkit.edges import life as lf
from trialkit.edges.life import project_life
from trialkit.edges.life_comparison import compare_lives
from trialkit.edges.wear import fit_wear_rates
from trialkit.errors import UsageError

EDGE_TYPES = pd.DataFrame(
    {
        c.EDGE_TYPE: ["plain_steel", "carbide_insert"],
        c.USABLE_DEPTH_IN: [3.0, 0.8],
        c.REPLACED_AS: pd.Categorical([None, "set"]),
    }
)
NAMES = [
    c.EDGE_TYPE, c.PLOW_POSITION, c.TRUCK_ID, c.TRUCK_UNIT, c.SET_ID, c.STATION, c.SEGMENT, c.HEIGHT_IN, c.MILES_MI,
]  # fmt: skip


def straight(rates, kind="plain_steel", place="front", truck="T", step=1e-9, miles=(0, 400, 800), error=None):
    """Readings on exact lines, as if rounding were next to nothing: `rates[truck]` is a list over sets of lists over stations. [in/1,000 mi]"""
    rows = []
    for i, sets in enumerate(rates):
        name = f"{truck}{i + 1}"
        for k, stations in enumerate(sets):
            set_id = f"{kind}-{name}-{place}-{k}"
            for j, rate in enumerate(stations, start=1):
                for q, x in enumerate(miles):
                    off = 0.0 if error is None else error[(i + j + q) % len(error)]
                    height = 6 - rate * x / 1000 + off
                    rows.append(
                        (
                            kind,
                            place,
                            name,
                            f"{name}, {place}",
                            set_id,
                            j,
                            f"{set_id}/{j}/1",
                            height,
                            x + 1000 * k,
                        )
                    )
    return pd.DataFrame(rows, columns=NAMES).assign(**{c.RESOLUTION_IN: step})


def project(frame, edge_types=EDGE_TYPES, **keywords):
    return project_life(fit_wear_rates(frame, **keywords), frame, edge_types)


def only_row(projection):
    assert len(projection.table) == 1
    return projection.table.iloc[0]


# three trucks, one set each, two stations
THREE = straight([[[1.0, 1.2]], [[1.5, 1.3]], [[1.8, 1.6]]])


def test_life_is_depth_over_the_mean_rate_of_the_thinnest_spot():
    row = only_row(project(THREE))
    # by hand: the faster stations wear 1.2, 1.5 and 1.8 in per 1,000 mi, mean 1.5: 3 / 1.5 thousand miles
    assert row[c.ESTIMATE] == pytest.approx(2000)
    # by hand: standard error 0.3 / sqrt(3), t with 2 df
    half = student.ppf(0.975, 2) * 0.3 / math.sqrt(3)
    assert row[c.CONF_LOW] == pytest.approx(3000 / (1.5 + half))
    assert row[c.CONF_HIGH] == pytest.approx(3000 / (1.5 - half))
    # by hand: the next set, standard deviation 0.3 sqrt(1 + 1/3); the lower rate is below zero, so no upper end
    low = student.ppf(0.975, 2) * 0.3 * math.sqrt(4 / 3)
    assert row[c.PRED_LOW] == pytest.approx(3000 / (1.5 + low))
    assert low < 1.5
    assert row[c.PRED_HIGH] == pytest.approx(3000 / (1.5 - low))
    assert (row[c.UNIT], row[c.BOUNDED], row[c.N_TRUCKS], row[c.N_SETS]) == ("mi", "yes", 3, 3)
    assert row[c.BASIS] == "thinnest spot of each set, life at the mean rate"


def test_the_mean_of_the_stations_would_say_longer():
    row = only_row(project(THREE))
    # by hand: mean slopes 1.1, 1.4, 1.7, mean 1.4
    assert row[lf.STATION_MEAN_MI] == pytest.approx(3000 / 1.4)
    assert row[lf.STATION_MEAN_MI] > row[c.ESTIMATE]


def test_sections_are_replaced_one_by_one():
    by_section = EDGE_TYPES.assign(**{c.REPLACED_AS: "section"})
    row = only_row(project(THREE, by_section))
    # by hand: the mean of the stations
    assert row[c.ESTIMATE] == pytest.approx(3000 / 1.4)
    half = student.ppf(0.975, 2) * 0.3 / math.sqrt(3)
    assert row[c.CONF_LOW] == pytest.approx(3000 / (1.4 + half))
    # by hand: trucks 0.09 (1 + 1/3); stations 0.02 in each set, half of which their mean takes out; Satterthwaite
    parts, free = np.array([0.12, 0.01]), np.array([2, 3])
    df = parts.sum() ** 2 / (parts**2 / free).sum()
    assert row[c.PRED_LOW] == pytest.approx(3000 / (1.4 + student.ppf(0.975, df) * math.sqrt(0.13)))
    assert row[c.BASIS] == "each section by itself, life at the mean rate"
    assert math.isnan(row[lf.KEPT_PCT])


def test_sections_read_at_one_station_scatter_as_trucks_do():
    frame = straight([[[1.0]], [[1.5]], [[1.7]]])
    by_section, by_set = project(frame, EDGE_TYPES.assign(**{c.REPLACED_AS: "section"})), project(frame)
    assert only_row(by_section)[c.PRED_LOW] == pytest.approx(only_row(by_set)[c.PRED_LOW])


def test_the_range_for_the_next_set_is_never_narrower_than_the_interval():
    row = only_row(project(straight([[[1.46], [1.48], [1.44], [1.46]], [[1.52], [1.54], [1.50], [1.52]]])))
    # two trucks: t of 12.7 for their mean, but of far less for a spread to which six degrees of freedom of the sets are added
    assert row[c.CONF_LOW] == pytest.approx(3000 / (1.49 + student.ppf(0.975, 1) * 0.03))
    assert row[c.PRED_LOW] <= row[c.CONF_LOW]
    assert row[c.PRED_HIGH] >= row[c.CONF_HIGH]


def test_the_truck_is_the_unit_and_the_next_set_varies_as_sets_do():
    frame = straight([[[1.0], [1.4]], [[1.5], [1.7]], [[1.7], [1.9]]])
    row = only_row(project(frame))
    # by hand: trucks 1.2, 1.6, 1.8; sets within trucks scatter by (0.08 + 0.02 + 0.02) / 3, half of it averaged out
    trucks = np.array([1.2, 1.6, 1.8])
    half = student.ppf(0.975, 2) * trucks.std(ddof=1) / math.sqrt(3)
    assert row[c.CONF_LOW] == pytest.approx(3000 / (trucks.mean() + half))
    parts, free = np.array([trucks.var(ddof=1) * 4 / 3, 0.02]), np.array([2, 3])
    df = parts.sum() ** 2 / (parts**2 / free).sum()
    far = student.ppf(0.975, df) * math.sqrt(parts.sum())
    assert row[c.PRED_LOW] == pytest.approx(3000 / (trucks.mean() + far))
    assert row[c.N_SETS] == 6


def test_at_least_where_nothing_bounds_the_life():
    frame = straight([[[0.05]], [[0.30]], [[0.55]]])
    projection = project(frame)
    row = only_row(projection)
    half = student.ppf(0.975, 2) * 0.25 / math.sqrt(3)
    # by hand: the rate's interval reaches below zero, so the life has a lower end only
    assert row[c.CONF_LOW] == pytest.approx(3000 / (0.3 + half))
    assert math.isnan(row[c.CONF_HIGH]) and row[c.BOUNDED] == "no"
    # by hand: 3000 / (0.3 + 4.303 * 0.25 / sqrt(3)) = 3,257, said with three digits
    assert "lasts at least 3,260 miles" in projection.sentence()
    assert any("no upper end" in note for note in projection.notes)


def test_no_measurable_wear_gives_a_lower_end_only():
    frame = straight([[[0.0, 0.0]], [[0.0, 0.0]], [[0.0, 0.0]]], step=0.0625)
    projection = project(frame)
    row = only_row(projection)
    assert math.isnan(row[c.ESTIMATE]) and math.isnan(row[c.CONF_HIGH])
    # by hand: every slope within a step over 800 miles can be hidden, so at least 3 in / (0.0625 in / 800 mi) is not shown
    assert 10_000 < row[c.CONF_LOW] < 800 * 3 / 0.0625
    assert "lasts at least" in projection.sentence()
    assert any("no estimate of the life" in note for note in projection.notes)


def test_one_truck_has_no_interval():
    projection = project(straight([[[1.0, 1.5]]]))
    row = only_row(projection)
    assert row[c.ESTIMATE] == pytest.approx(2000)
    assert np.isnan(row[[c.CONF_LOW, c.CONF_HIGH, c.PRED_LOW, c.PRED_HIGH]].astype(float)).all()
    assert "2,000 miles (1 truck; no interval)" in projection.sentence()
    assert any("one truck" in note for note in projection.notes)


def test_a_rise_has_no_life():
    projection = project(straight([[[-0.5]]]))
    assert math.isnan(only_row(projection)[c.ESTIMATE])
    assert "no projected life: no wear was measured (1 truck)" in projection.sentence()


def test_how_much_of_the_depth_was_read():
    row = only_row(project(THREE))
    # by hand: the fastest station lost 1.8 in/1,000 mi over 800 mi of 3 in
    assert row[lf.DEPTH_READ_PCT] == pytest.approx(100 * 1.44 / 3)
    assert any("48% of the usable depth" in note for note in project(THREE).notes)
    deep = project(straight([[[5.0]], [[5.2]]]))
    assert any("139% of the usable depth; wear beyond the discard limit" in note for note in deep.notes)


def test_a_set_read_at_one_station_is_said():
    assert any(
        "plain_steel-T1-front-0" in note and "single station" in note
        for note in project(straight([[[1.0]], [[1.2]]])).notes
    )
    assert not any("single station" in note for note in project(THREE).notes)


def test_part_of_the_excess_is_error_is_said():
    frame = straight(
        [[[1.0, 1.0, 1.0]], [[1.5, 1.5, 1.5]], [[1.8, 1.8, 1.8]]],
        error=[0.03, -0.03, 0.0, 0.02, -0.04, 0.03, -0.01],
    )
    projection = project(frame)
    assert only_row(projection)[lf.KEPT_PCT] < 70
    assert any("is taken as real" in note for note in projection.notes)


def test_trucks_and_sets_add_up():
    projection = project(THREE)
    assert projection.trucks[lf.LIFE_MI].tolist() == pytest.approx([2500, 2000, 3000 / 1.8])
    assert projection.sets[c.USE_PER_1000_MI].tolist() == pytest.approx([0.4, 0.5, 0.6])
    sample = projection.samples["front", "plain_steel"]
    # by hand: sets used per 1,000 miles; a thousand over it is the life
    assert 1000 / sample.mean == pytest.approx(only_row(projection)[c.ESTIMATE])


@pytest.mark.parametrize(
    ("edge_types", "words"),
    [
        (
            EDGE_TYPES.assign(**{c.EDGE_TYPE: ["plain steal", "carbide_insert"]}),
            '"plain_steel" was read but .* Did you mean "plain steal"',
        ),
        (EDGE_TYPES.assign(**{c.USABLE_DEPTH_IN: [0.0, 1.0]}), '"plain_steel" has the usable depth 0 in'),
        (
            EDGE_TYPES.assign(**{c.USABLE_DEPTH_IN: [np.nan, 1.0]}),
            '"plain_steel" has the usable depth nan in',
        ),
    ],
)
def test_edge_types_must_fit(edge_types, words):
    with pytest.raises(UsageError, match=words):
        project(THREE, edge_types)


def test_without_the_column_sets_are_replaced_whole():
    assert only_row(project(THREE, EDGE_TYPES.drop(columns=c.REPLACED_AS)))[c.ESTIMATE] == pytest.approx(2000)


def test_an_edge_type_without_a_slope_keeps_its_row():
    frame = pd.concat(
        [THREE, straight([[[1.0]]], kind="carbide_insert", truck="U", miles=(0,))], ignore_index=True
    )
    projection = project(frame)
    row = projection.table[projection.table[c.EDGE_TYPE] == "carbide_insert"].iloc[0]
    assert math.isnan(row[c.ESTIMATE]) and row[c.N_TRUCKS] == 0
    assert compare_lives(projection).table.empty


def test_summary_and_sentence():
    projection = project(THREE, labels={"plain_steel": "plain steel"})
    assert projection.sentence().startswith(
        "On the front plow, a set of plain steel lasts 2,000 miles (95% interval "
    )
    assert "The next set may last " in projection.sentence()
    assert "not the mean of the lives" in projection.summary()


def test_no_rates_at_all():
    assert project(THREE.iloc[:0]).sentence() == "No life can be projected: there is no wear rate."


def test_intervals_cover_a_known_life():
    rng = np.random.default_rng(19)
    # known truth: trucks differ by 20 %, 3 stations of each set by 15 % (mean of the largest of 3: 0.84628 of it)
    truth = 3000 / (1.5 * (1 + 0.15 * 0.84628))
    held, next_held, trials = 0, 0, 60
    for _ in range(trials):
        rates = 1.5 * (1 + 0.2 * rng.standard_normal((5, 1, 1))) * (1 + 0.15 * rng.standard_normal((5, 1, 3)))
        frame = straight(rates[:4].tolist(), miles=(0, 200, 400, 600, 800, 1000))
        frame[c.HEIGHT_IN] += 0.03 * rng.standard_normal(len(frame))
        row = only_row(project(frame))
        held += row[c.CONF_LOW] <= truth and not truth > row[c.CONF_HIGH]
        next_life = 3000 / rates[4].max()
        next_held += row[c.PRED_LOW] <= next_life and not next_life > row[c.PRED_HIGH]
    # binomial: 60 trials at 0.95 stay above 0.86 but once in 200
    assert held / trials > 0.86
    assert next_held / trials > 0.86
