"""Limits of successive looks against multivariate normal integrals and printed tables.

The R values come from ``Rscript sequential.R`` in ``r/`` (R 4.2.2, mvtnorm 1.1-3, Miwa's algorithm), 10 significant digits.
"""

import numpy as np
import pytest
from scipy.special import ndtri

from trialkit.stats.sequential import (
    POCOCK,
    crossing_probabilities,
    obrien_fleming_constant,
    pocock_constant,
    spending_limits,
    spent,
)


def equal(looks):
    return np.arange(1, looks + 1) / looks


@pytest.mark.parametrize(
    ("looks", "constant"),
    [
        # other software: R 4.2.2, mvtnorm, case "Pocock, 2 looks"; Jennison and Turnbull 2000, Table 2.1: 2.178 (memory)
        (2, 2.178272089),
        # other software: R 4.2.2, mvtnorm, case "Pocock, 3 looks"; Jennison and Turnbull: 2.289 (memory)
        (3, 2.289478061),
        # other software: R 4.2.2, mvtnorm, case "Pocock, 4 looks"; Jennison and Turnbull: 2.361 (memory)
        (4, 2.361297891),
    ],
)
def test_pocock_constants(looks, constant):
    assert pocock_constant(looks) == pytest.approx(constant, abs=2e-9)


@pytest.mark.parametrize(
    ("looks", "constant"),
    [
        # other software: R 4.2.2, mvtnorm, case "O'Brien-Fleming, 2 looks"; Jennison and Turnbull, Table 2.3: 1.977 (memory)
        (2, 1.977430959),
        # other software: R 4.2.2, mvtnorm, case "O'Brien-Fleming, 3 looks"; Jennison and Turnbull: 2.004 (memory)
        (3, 2.004035579),
        # other software: R 4.2.2, mvtnorm, case "O'Brien-Fleming, 4 looks"; Jennison and Turnbull: 2.024 (memory)
        (4, 2.0242955),
    ],
)
def test_obrien_fleming_constants(looks, constant):
    assert obrien_fleming_constant(looks) == pytest.approx(constant, abs=2e-9)


def test_constants_of_five_looks():
    # memory: Jennison and Turnbull, "Group Sequential Methods", 2000, Tables 2.1 and 2.3: 2.413 and 2.040
    assert pocock_constant(5) == pytest.approx(2.413, abs=5e-4)
    # memory: same
    assert obrien_fleming_constant(5) == pytest.approx(2.040, abs=5e-4)


@pytest.mark.parametrize(
    ("looks", "error"),
    [
        # other software: R 4.2.2, mvtnorm, case "error of 1.96 at each of 2 looks"
        (2, 0.08311780336),
        # other software: R 4.2.2, mvtnorm, 3 looks
        (3, 0.1072563746),
        # other software: R 4.2.2, mvtnorm, 4 looks
        (4, 0.1261690125),
    ],
)
def test_error_of_looking_again_and_again(looks, error):
    found = crossing_probabilities([ndtri(0.975)] * looks, equal(looks))
    assert found.sum() == pytest.approx(error, abs=1e-9)


def test_error_of_five_and_ten_looks():
    # published: Armitage, McPherson and Rowe 1969, Table 2: 0.142 at 5 looks, 0.193 at 10 (from memory)
    for looks, error in ((5, 0.142), (10, 0.193)):
        assert crossing_probabilities([1.96] * looks, equal(looks)).sum() == pytest.approx(error, abs=5e-4)


@pytest.mark.parametrize(
    ("looks", "limits"),
    [
        # other software: R 4.2.2, mvtnorm, case "O'Brien-Fleming spending, 2 looks"
        (2, [2.962588043, 1.968595641]),
        # other software: R 4.2.2, mvtnorm, 3 looks
        (3, [3.710302873, 2.511427481, 1.993047478]),
        # other software: R 4.2.2, mvtnorm, 4 looks
        (4, [4.332633646, 2.963131598, 2.359044285, 2.014090144]),
    ],
)
def test_obrien_fleming_spending(looks, limits):
    assert spending_limits(equal(looks)).z == pytest.approx(np.array(limits), abs=1e-8)


def test_obrien_fleming_spending_of_five_looks():
    # other software: R package ldbounds 2.0.2, vignette: 4.8769, 3.3569, 2.6803, 2.2898, 2.0310, good to about 1e-4
    printed = np.array([4.8769, 3.3569, 2.6803, 2.2898, 2.0310])
    assert spending_limits(equal(5)).z == pytest.approx(printed, abs=2e-4)


@pytest.mark.parametrize(
    ("looks", "limits"),
    [
        # other software: R 4.2.2, mvtnorm, case "Pocock spending, 2 looks"
        (2, [2.156999218, 2.200976955]),
        # other software: R 4.2.2, mvtnorm, 3 looks
        (3, [2.279428239, 2.294911132, 2.295938359]),
        # other software: R 4.2.2, mvtnorm, 4 looks
        (4, [2.368327703, 2.367524295, 2.358167735, 2.350029538]),
    ],
)
def test_pocock_spending(looks, limits):
    assert spending_limits(equal(looks), spending=POCOCK).z == pytest.approx(np.array(limits), abs=1e-8)


def test_looks_at_unequal_shares():
    # other software: R 4.2.2, mvtnorm, case "O'Brien-Fleming spending, 0.3, 0.7, 1"
    limits = np.array([3.928572542, 2.438742375, 2.00000857])
    assert spending_limits([0.3, 0.7, 1.0]).z == pytest.approx(limits, abs=1e-8)


@pytest.mark.parametrize(
    ("share", "obrien_fleming", "pocock"),
    [
        # other software: R 4.2.2, 4 * (1 - pnorm(qnorm(1 - 0.05 / 4) / sqrt(t))) and 0.05 * log(1 + (exp(1) - 1) * t)
        (0.2, 1.077742526e-06, 0.01476972646),
        # other software: R 4.2.2, same
        (0.5, 0.003050645516, 0.03100572535),
        # other software: R 4.2.2, same
        (0.8, 0.02442358069, 0.04324198626),
        # by hand: all of it
        (1.0, 0.05, 0.05),
    ],
)
def test_error_spent(share, obrien_fleming, pocock):
    assert spent(share) == pytest.approx(obrien_fleming, rel=1e-9)
    assert spent(share, spending=POCOCK) == pytest.approx(pocock, rel=1e-9)
