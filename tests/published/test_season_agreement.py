"""Welch's test that several means agree, against R."""

import pytest

from trialkit.edges.seasons import p_agree

# Data set PlantGrowth of R (Dobson, "An Introduction to Statistical Modelling", 1983): mean, standard error and degrees of
# freedom of each group, from R 4.2.2: aggregate(weight ~ group, PlantGrowth, function(x) c(mean(x), sd(x)/sqrt(length(x))))
GROUPS = [(5.032, 0.1843896840, 9), (4.661, 0.2509822924, 9), (5.526, 0.1399539607, 9)]


def test_three_groups():
    # R 4.2.2: oneway.test(weight ~ group, PlantGrowth)$p.value; tolerance: the printed digits
    assert p_agree(GROUPS) == pytest.approx(0.01739282149, rel=1e-7)


def test_two_groups_give_the_welch_t_test():
    # R 4.2.2: oneway.test(weight ~ group, subset(PlantGrowth, group != "ctrl"))$p.value; tolerance: the printed digits
    assert p_agree(GROUPS[1:]) == pytest.approx(0.009298404717, rel=1e-7)
