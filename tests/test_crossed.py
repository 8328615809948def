import math

import numpy as np
import pytest

from trialkit.stats.crossed import (
    INTERACTION,
    PARTS,
    PIECE,
    READER,
    READING_ERROR,
    REPEATABILITY,
    TOTAL,
    distinct_categories,
    fit_crossed,
    repeats_std_dev,
)
from trialkit.stats.crossed_intervals import MeanSquare, chi_square_interval, combination_interval

PIECES, READERS = (axis.ravel() for axis in np.meshgrid(np.arange(5), np.arange(3), indexing="ij"))


def study(rng, spreads, pieces=5, readers=3, repeats=3, gaps=0):
    """Readings with these standard deviations of piece, reader, interaction and repeats."""
    p, o = np.divmod(np.repeat(np.arange(pieces * readers), repeats), readers)
    piece, reader, both, error = spreads
    y = (
        piece * rng.standard_normal(pieces)[p]
        + reader * rng.standard_normal(readers)[o]
        + both * rng.standard_normal(pieces * readers)[p * readers + o]
        + error * rng.standard_normal(len(p))
    )
    kept = np.sort(rng.permutation(len(p))[gaps:])
    return p[kept], o[kept], y[kept]


@pytest.mark.parametrize(
    ("spreads", "options", "trials"),
    [
        ((1.0, 0.2, 0.0, 0.2), {}, 500),
        ((1.0, 0.2, 0.1, 0.2), {"pool_above": 1.0}, 500),
        ((1.0, 0.3, 0.1, 0.2), {"gaps": 4}, 120),
    ],
)
def test_intervals_hold_the_truth(spreads, options, trials):
    # known truth: 95 % less three standard errors, 2.9 points with 500 trials and 6.0 with 120; with gaps two more
    rng = np.random.default_rng(11)
    piece, reader, both, error = (s**2 for s in spreads)
    truth = {
        REPEATABILITY: error,
        READER: reader,
        READING_ERROR: reader + both + error,
        PIECE: piece,
        TOTAL: reader + both + error + piece,
    }
    gaps = options.pop("gaps", 0)
    held = dict.fromkeys(truth, 0)
    for _ in range(trials):
        fit = fit_crossed(*study(rng, spreads, gaps=gaps), **options)
        for part, value in truth.items():
            low, high = fit.intervals[part]
            held[part] += low <= value <= high
    for part, n in held.items():
        assert n / trials > 0.95 - 3 * math.sqrt(0.95 * 0.05 / trials) - (0.02 if gaps else 0.0), part


def test_the_parts_add_up():
    fit = fit_crossed(*study(np.random.default_rng(1), (1.0, 0.5, 0.5, 0.2)))
    v = fit.variances
    assert v[READING_ERROR] == pytest.approx(v[REPEATABILITY] + v[READER] + v[INTERACTION])
    assert v[TOTAL] == pytest.approx(v[READING_ERROR] + v[PIECE])
    assert set(fit.intervals) == set(PARTS)


def test_labels_may_be_anything_and_come_in_any_order():
    p, o, y = study(np.random.default_rng(2), (1.0, 0.5, 0.0, 0.2))
    order = np.random.default_rng(3).permutation(len(y))
    names = np.array(["e", "d", "c", "b", "a"])
    one, other = fit_crossed(p, o, y), fit_crossed(names[p[order]], o[order].astype(str), y[order] + 1e6)
    for part in PARTS:
        assert other.variances[part] == pytest.approx(one.variances[part], rel=1e-5)


def test_without_repeats_the_interaction_is_the_error():
    p, o, y = study(np.random.default_rng(4), (1.0, 0.5, 0.0, 0.2), repeats=1)
    fit = fit_crossed(p, o, y)
    assert not fit.repeated
    assert not fit.pooled
    assert fit.told == (REPEATABILITY, READER, PIECE)
    assert fit.df == 8
    assert repeats_std_dev([fit]) is None


def test_one_piece():
    fit = fit_crossed([1] * 6, [1, 1, 2, 2, 3, 3], [1.0, 1.2, 2.0, 2.2, 3.0, 3.2])
    assert fit.told == (REPEATABILITY, READER)
    # by hand: repeats 0.02 on 3; readers: variance of the means 1, less 0.02 / 2
    assert fit.variances[REPEATABILITY] == pytest.approx(0.02)
    assert fit.variances[READER] == pytest.approx(0.99)
    assert distinct_categories(fit) == 0


def test_readers_who_share_no_piece_cannot_be_told_apart():
    fit = fit_crossed([1, 1, 2, 2], ["a", "a", "b", "b"], [1.0, 1.1, 5.0, 5.3])
    assert fit.told == (REPEATABILITY,)
    assert np.isnan(fit.intervals[READER]).all()


def test_no_error_to_be_told():
    for piece, reader in (([1, 2, 3], [1, 1, 1]), ([1], [1]), ([1, 1], [1, 2])):
        with pytest.raises(ValueError, match="nothing was read twice"):
            fit_crossed(piece, reader, np.arange(len(piece)))


def test_repeats_that_all_agree():
    fit = fit_crossed(np.repeat(PIECES, 2), np.repeat(READERS, 2), np.repeat(PIECES * 1.0, 2))
    assert fit.variances[REPEATABILITY] == 0.0
    assert repeats_std_dev([fit]) is None
    assert distinct_categories(fit) == 0


def test_repeats_that_agree_while_people_do_not():
    readings = PIECES * 1.0 + np.array([0.0, 0.1, 0.3])[READERS] + 0.2 * ((PIECES * READERS) % 2)
    fit = fit_crossed(np.repeat(PIECES, 2), np.repeat(READERS, 2), np.repeat(readings, 2))
    assert fit.anova.p_interaction == 0.0
    assert not fit.pooled


def test_repeats_of_several_studies_are_put_together():
    a = fit_crossed([1, 1, 2, 2], [1, 1, 1, 1], [0.0, 0.2, 5.0, 5.0])
    b = fit_crossed([1, 1, 1, 2, 2], [1, 1, 1, 1, 1], [0.0, 0.3, 0.6, 5.0, 5.0])
    # by hand: sums of squares 0.02 on 2 and 0.18 on 3
    assert repeats_std_dev([a, b]) == pytest.approx(math.sqrt(0.2 / 5))
    assert repeats_std_dev([]) is None


# ---------------------------------------------------------------- intervals
def test_one_mean_square_has_the_chi_square_interval():
    # by hand: the modified interval is exact for a single mean square
    assert combination_interval([(0.5, MeanSquare(4.0, 7))], 0.025) == pytest.approx(
        chi_square_interval(2.0, 7, 0.025)
    )


def test_the_same_mean_square_may_come_several_times():
    ms, other = MeanSquare(4.0, 7), MeanSquare(1.0, 30)
    once = combination_interval([(0.3, ms), (-0.1, other)], 0.025)
    assert combination_interval([(0.5, ms), (-0.2, ms), (-0.1, other)], 0.025) == pytest.approx(once)


def test_limits_are_not_negative():
    low, high = combination_interval([(1.0, MeanSquare(1.0, 3)), (-1.0, MeanSquare(5.0, 60))], 0.025)
    assert low == 0.0
    assert high >= 0.0


def test_no_interval_without_degrees_of_freedom():
    assert np.isnan(chi_square_interval(1.0, 0.0, 0.025)).all()
