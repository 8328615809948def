"""Criteria as objects: what they compute, what they refuse, how they are found by name."""

import numpy as np
import pytest

from trialkit import columns as c
from trialkit.cab import criteria
from trialkit.cab.criteria import (
    NIOSH_REL,
    NOISE_CRITERIA,
    OSHA_ACTION,
    OSHA_PEL,
    NoiseCriterion,
    VibrationCriterion,
)
from trialkit.errors import UsageError


def own(**changes):
    fields = {
        "name": "own",
        "label": "Own value",
        "level_dba": 85.0,
        "exchange_rate_db": 4.0,
        "threshold_dba": None,
        "citation": "Town policy 7",
    }
    return NoiseCriterion(**(fields | changes))


def test_each_criterion_names_its_document():
    cited = [item.citation for item in NOISE_CRITERIA.values()] + [
        item.citation for item in criteria.VIBRATION_CRITERIA.values()
    ]
    for citation, document in zip(
        cited, ["1910.95", "1910.95", "98-126", *["2003/10/EC"] * 3, *["2002/44/EC"] * 2], strict=True
    ):
        assert document in citation


def test_names_are_the_keys():
    assert all(item.name == name for name, item in NOISE_CRITERIA.items())
    assert all(item.name == name for name, item in criteria.VIBRATION_CRITERIA.items())


def test_action_level_is_reached_at_half_a_dose():
    # 29 CFR 1910.95(c): 85 dBA over 8 h, a dose of 50 %
    assert OSHA_ACTION.dose_pct(85, 8) == pytest.approx(50)
    assert OSHA_ACTION.permissible_h(85) == pytest.approx(8)
    assert OSHA_ACTION.reference_duration_h(85) == pytest.approx(16)


def test_threshold_counts_the_level_itself_and_nothing_below():
    assert OSHA_PEL.dose_pct(89.9, 8) == 0
    assert OSHA_PEL.dose_pct(90, 8) == pytest.approx(100)
    assert NIOSH_REL.dose_pct([79.9, 80], [8, 8]) == pytest.approx(NIOSH_REL.dose_pct(80, 8))
    assert criteria.EU_LIMIT.dose_pct(60, 8) > 0


def test_dose_of_nothing_has_no_average():
    assert np.isnan(OSHA_PEL.twa_dba(0))
    assert np.isnan(OSHA_PEL.twa_dba([0, 100])).tolist() == [True, False]


def test_average_of_a_steady_level_over_eight_hours_is_that_level():
    for criterion in NOISE_CRITERIA.values():
        assert float(criterion.twa_dba(criterion.dose_pct(95.5, 8))) == pytest.approx(95.5, abs=1e-9)


def test_a_shift_at_its_own_level_reaches_the_criterion():
    for criterion in NOISE_CRITERIA.values():
        for hours in (8, 10, 12, 16):
            level = float(criterion.shift_level_dba(hours)[0])
            rate = 100 / criterion.reference_duration_h(level)
            assert rate * hours == pytest.approx(criterion.action_dose_pct)


def test_shift_levels_of_every_length():
    table = criteria.shift_levels([OSHA_PEL, NIOSH_REL], (8, 12, 16))
    assert table[c.CRITERION].tolist() == ["osha_pel"] * 3 + ["niosh_rel"] * 3
    # by hand: 90 + 16.61 log10(8/12) = 87.08, 90 - 5 = 85; 85 + 9.966 log10(8/12) = 83.25, 85 - 3 = 82
    assert table[c.LEVEL_DBA].tolist() == pytest.approx([90, 87.08, 85, 85, 83.25, 82], abs=0.005)


def test_exchange_rate_of_four_decibels_is_a_users_own():
    navy = own(exchange_rate_db=4.0)
    assert navy.reference_duration_h([85, 89, 81]).tolist() == pytest.approx([8, 4, 16])
    assert not navy.counts_energy
    assert NIOSH_REL.counts_energy
    assert criteria.EU_LIMIT.counts_energy
    assert not OSHA_PEL.counts_energy


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"level_dba": 0}, "level_dba is 0"),
        ({"level_dba": 141}, "level_dba is 141"),
        ({"exchange_rate_db": 0}, "exchange_rate_db is 0"),
        ({"exchange_rate_db": 11}, "exchange_rate_db is 11"),
        ({"threshold_dba": -1}, "threshold_dba is -1"),
        ({"action_dose_pct": 0}, "action_dose_pct is 0"),
        ({"reference_h": 25}, "reference_h is 25"),
        ({"citation": " "}, "citation is empty"),
        ({"label": ""}, "name and label"),
    ],
)
def test_impossible_noise_criterion(changes, said):
    with pytest.raises(UsageError, match=said) as error:
        own(**changes)
    assert '"own"' in str(error.value)


def test_everything_wrong_with_a_criterion_is_said_at_once():
    with pytest.raises(UsageError) as error:
        own(level_dba=200, exchange_rate_db=99)
    assert "200" in str(error.value)
    assert "99" in str(error.value)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"a8_m_s2": 0}, "a8_m_s2 is 0"),
        ({"reference_h": 0}, "reference_h is 0"),
        ({"citation": ""}, "citation is empty"),
        ({"name": ""}, "name and label"),
    ],
)
def test_impossible_vibration_criterion(changes, said):
    fields = {"name": "own", "label": "Own value", "a8_m_s2": 0.8, "citation": "Town policy 7"}
    with pytest.raises(UsageError, match=said):
        VibrationCriterion(**(fields | changes))


@pytest.mark.parametrize(
    ("level", "hours", "said"),
    [
        (-1, 8, "-1 dBA"),
        (141, 8, "141 dBA"),
        (float("nan"), 8, "nan dBA"),
        (85, -2, "-2 h"),
        (85, float("nan"), "nan h"),
        ([85, 90], [8], "2 levels but 1 durations"),
        ([85, 90], [14, 12], "26 h; a day has 24"),
    ],
)
def test_impossible_day(level, hours, said):
    with pytest.raises(UsageError, match=said):
        NIOSH_REL.dose_pct(level, hours)


def test_impossible_shift_and_dose():
    with pytest.raises(UsageError, match="25 h"):
        NIOSH_REL.shift_level_dba([12, 25])
    with pytest.raises(UsageError, match="0 h"):
        NIOSH_REL.shift_level_dba(0)
    with pytest.raises(UsageError, match="-5%"):
        NIOSH_REL.twa_dba([-5, 10])


def test_criteria_by_name_and_as_objects():
    mine = own()
    assert criteria.noise_criteria(["niosh_rel", mine, "osha_pel"]) == (NIOSH_REL, mine, OSHA_PEL)
    assert criteria.noise_criteria() == tuple(NOISE_CRITERIA.values())
    action, limit = criteria.vibration_criteria()
    assert (action.a8_m_s2, limit.a8_m_s2) == (0.5, 1.15)
    assert criteria.vibration_criteria(["eu_vibration_limit"]) == (limit,)


def test_unknown_and_repeated_criteria():
    with pytest.raises(UsageError, match=r'"niosh-rell".*Did you mean "niosh_rel"'):
        criteria.noise_criteria(["niosh-rell"])
    with pytest.raises(UsageError, match=r'"zzz".*Known are: eu_vibration_action'):
        criteria.vibration_criteria(["zzz"])
    with pytest.raises(UsageError, match='"osha_pel" is given twice'):
        criteria.noise_criteria(["osha_pel", OSHA_PEL])


def test_vibration_hours_without_vibration_are_unlimited():
    assert np.isinf(criteria.EU_VIBRATION_ACTION.permissible_h(0))
    assert criteria.EU_VIBRATION_ACTION.exposure_pct(0.25) == pytest.approx(25)


@pytest.mark.parametrize("words", [*criteria.NOISE_CAUTIONS, *criteria.VIBRATION_CAUTIONS])
def test_cautions_judge_nothing(words):
    assert not any(word in words.lower() for word in ("safe", "complian", "!"))


def test_cautions_say_what_they_must():
    words = " ".join(criteria.NOISE_CAUTIONS)
    for part in ("action level", "may start", "federal or state", "risk management", "hygienist"):
        assert part in words.lower() or part in words
    assert "hands" in criteria.VIBRATION_CAUTIONS[1]
    assert "not covered" in criteria.VIBRATION_CAUTIONS[1]
