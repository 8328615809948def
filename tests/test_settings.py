"""trial.toml: defaults, and every way to get it wrong, each said with the name of the setting."""

import datetime as dt
import os

import pytest
from conftest import SETTINGS

from trialkit.settings import Settings, check_settings, read_settings

NEEDED = {
    "trial_id": "small",
    "title": "T",
    "agency": "A",
    "season": "2030-31",
    "reference_edge_type": "plain_steel",
}


def read(tmp_path, content):
    path = tmp_path / "trial.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_settings(path)


def test_five_settings_are_enough(tmp_path):
    settings, problems = read(tmp_path, SETTINGS)
    assert problems == []
    assert settings.trial_id == "small" and settings.reference_edge_type == "plain_steel"
    assert (settings.confidence_level, settings.units, settings.seed) == (0.95, "us", 1)
    assert (
        settings.plan.looks == ()
        and settings.cost.horizon_years == 10
        and settings.noise.shift_length_h == 12
    )


def test_a_byte_order_mark_does_not_matter(tmp_path):
    assert read(tmp_path, b"\xef\xbb\xbf" + SETTINGS.encode())[1] == []


def test_sections_and_looks(tmp_path):
    settings, problems = read(
        tmp_path, SETTINGS + "[plan]\nlooks = [2031-01-31, 0.75, 1]\n[cost]\ndiscount_rate = 0.02\n"
    )
    assert problems == []
    assert settings.plan.looks == (dt.date(2031, 1, 31), 0.75, 1.0)
    assert settings.cost.discount_rate == 0.02


def test_every_setting_has_words():
    sections = [
        Settings,
        *(Settings.model_fields[name].annotation for name in ("plan", "noise", "cost", "material")),
    ]
    for section in sections:
        for name, field in section.model_fields.items():
            assert field.description or hasattr(field.annotation, "model_fields"), name


def test_all_that_is_missing_is_said_at_once():
    settings, problems = check_settings({})
    assert settings is None
    assert [(p.code, p.column) for p in problems] == [("setting-missing", name) for name in NEEDED]
    assert "reference_edge_type = ..." in problems[-1].fix


@pytest.mark.parametrize(
    ("setting", "nearest"),
    [
        ({"sede": 3}, "seed"),
        ({"plan": {"run_in": 3}}, "run_in_mi"),
        ({"cost": {"horizon": 3}}, "horizon_years"),
    ],
)
def test_an_unknown_setting_gets_the_nearest_name(setting, nearest):
    settings, (problem,) = check_settings({**NEEDED, **setting})
    assert settings is None and problem.code == "setting-unknown" and f'"{nearest}"' in problem.fix


def test_an_unknown_setting_like_nothing_gets_the_list():
    _, (problem,) = check_settings({**NEEDED, "noise": {"zzz": 1}})
    assert "shift_length_h, drift_limit_db, criterion, criteria" in problem.fix


@pytest.mark.parametrize(
    ("setting", "column", "found", "allowed"),
    [
        ({"trial_id": "a b"}, "trial_id", '"a b"', "letters, digits, hyphens and underscores"),
        ({"confidence_level": 95}, "confidence_level", "95", "less than or equal to 0.999"),
        ({"confidence_level": 0.9999}, "confidence_level", "0.9999", "less than or equal to 0.999"),
        ({"seed": -1}, "seed", "-1", "greater than or equal to 0"),
        ({"currency": "usd"}, "currency", '"usd"', "three-letter code"),
        ({"units": "si"}, "units", '"si"', "'us' or 'metric'"),
        ({"plan": 3}, "plan", "3", "[plan]"),
        ({"plan": {"run_in_mi": float("inf")}}, "plan.run_in_mi", "inf", "finite"),
        ({"plan": {"looks": [2]}}, "plan.looks", "[2]", "at most 1"),
        ({"plan": {"looks": ["x"]}}, "plan.looks", '"x"', "agreed days of the looks"),
        ({"plan": {"looks": [0.5, True]}}, "plan.looks", "true", "agreed days of the looks"),
        ({"noise": {"shift_length_h": True}}, "noise.shift_length_h", "true", "length of a storm shift"),
        ({"seed": "7"}, "seed", '"7"', "integer"),
        ({"title": ""}, "title", '""', "title of the report"),
    ],
)
def test_a_wrong_value_is_said_once_with_what_is_allowed(setting, column, found, allowed):
    settings, problems = check_settings({**NEEDED, **setting})
    (problem,) = problems
    assert settings is None
    assert (problem.code, problem.column, problem.found) == ("setting-invalid", column, found)
    assert allowed in problem.allowed and column in problem.fix


OWN = {
    "name": "town_limit",
    "criterion_level_dba": 84,
    "exchange_rate_db": 3.0,
    "citation": "Town safety manual, 4.2, 2029",
}


def own(**changed):
    return {"noise": {"criterion": [{name: v for name, v in (OWN | changed).items() if v is not None}]}}


def test_a_criterion_of_ones_own(tmp_path):
    content = (
        '[noise]\ncriteria = ["town_limit", "niosh_rel"]\n[[noise.criterion]]\nname = "town_limit"\ncriterion_level_dba = 84\n'
        'exchange_rate_db = 3.0\nthreshold_dba = 70\ncitation = "Town safety manual, 4.2, 2029"\n'
    )
    settings, problems = read(tmp_path, SETTINGS + content)
    assert problems == []
    (criterion,) = settings.noise.criterion
    assert (criterion.name, criterion.criterion_level_dba, criterion.exchange_rate_db, criterion.threshold_dba) == (
        "town_limit", 84, 3, 70,
    )  # fmt: skip
    assert settings.noise.criteria == ("town_limit", "niosh_rel")


@pytest.mark.parametrize(
    ("setting", "code", "column", "found", "said"),
    [
        (own(citation=None), "setting-missing", "noise.criterion[1].citation", "", "document, clause and year"),
        (own(citation="  "), "setting-invalid", "noise.criterion[1].citation", '"  "', "document, clause and year"),
        (own(criterion_level_dba=840), "setting-invalid", "noise.criterion[1].criterion_level_dba", "840", "140"),
        (own(exchange_rate_db=0), "setting-invalid", "noise.criterion[1].exchange_rate_db", "0", "halves the time"),
        (own(threshold_dba="x"), "setting-invalid", "noise.criterion[1].threshold_dba", '"x"', "not counted"),
        (own(name="a b"), "setting-invalid", "noise.criterion[1].name", '"a b"', "letters, digits"),
        (own(level=3), "setting-unknown", "noise.criterion[1].level", "", "criterion_level_dba"),
        (own(name="osha_pel"), "setting-invalid", "noise.criterion", '"osha_pel"', "no other criterion"),
        ({"noise": {"criterion": [OWN, OWN]}}, "setting-invalid", "noise.criterion", '"town_limit"', "another name"),
        ({"noise": {"criterion": OWN}}, "setting-invalid", "noise.criterion", "town_limit", "[[noise.criterion]]"),
        ({"noise": {"criterion": [3]}}, "setting-invalid", "noise.criterion[1]", "3", "[[noise.criterion]]"),
        ({"noise": {"criteria": ["osha_pell"]}}, "setting-invalid", "noise.criteria", '"osha_pell"', 'mean "osha_pel"'),
        ({"noise": {"criteria": ["zzz"]}}, "setting-invalid", "noise.criteria", '"zzz"', "osha_action, niosh_rel"),
        ({"noise": {"criteria": ["niosh_rel"] * 2}}, "setting-invalid", "noise.criteria", '"niosh_rel"', "once"),
        ({"noise": {"criteria": [3]}}, "setting-invalid", "noise.criteria", "3", "criteria to report"),
    ],
)  # fmt: skip
def test_what_can_be_wrong_with_criteria(setting, code, column, found, said):
    settings, problems = check_settings({**NEEDED, **setting})
    (problem,) = problems
    assert settings is None
    assert (problem.code, problem.column) == (code, column)
    assert found in problem.found and (found or not problem.found)
    assert said in f"{problem.allowed} {problem.fix}"


def test_several_unknown_criteria_are_named_together():
    _, (problem,) = check_settings({**NEEDED, "noise": {"criteria": ["osha pel", "nioshrel", "zzz"]}})
    assert problem.found == '"osha pel", "nioshrel" and "zzz"'
    assert '"osha_pel"' in problem.fix and '"niosh_rel"' in problem.fix


def test_a_wrong_criterion_of_ones_own_is_not_said_to_be_unknown_as_well():
    setting = own(exchange_rate_db=0)
    setting["noise"]["criteria"] = ["town_limit"]
    _, (problem,) = check_settings({**NEEDED, **setting})
    assert problem.column == "noise.criterion[1].exchange_rate_db"


def test_second_criterion_is_counted_from_one():
    second = {**OWN, "name": "other", "threshold_dba": -1}
    _, (problem,) = check_settings({**NEEDED, "noise": {"criterion": [OWN, second]}})
    assert problem.column == "noise.criterion[2].threshold_dba"
    assert problem.fix == "Correct noise.criterion[2].threshold_dba."


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"title = ", "Invalid value"),
        (b"\xff\xfe", "not UTF-8"),
        (b"a = " + b"[" * 100_000, "nested too deeply"),
        (b"a = " + b"1" * 5000, "thousands of digits"),
        (b"a = 1\na = 2", "Cannot overwrite"),
    ],
    ids=["unfinished", "bytes", "nested", "digits", "twice"],
)
def test_a_file_that_is_no_toml(tmp_path, content, found):
    settings, (problem,) = read(tmp_path, content)
    assert settings is None and problem.code == "file-unreadable" and found in problem.found


def test_no_file_and_a_folder_in_its_place(tmp_path):
    assert read_settings(tmp_path / "trial.toml")[1][0].code == "file-missing"
    (tmp_path / "trial.toml").mkdir()
    assert read_settings(tmp_path / "trial.toml")[1][0].code == "not-a-file"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_in_the_place_of_the_settings_does_not_hang(tmp_path):
    os.mkfifo(tmp_path / "trial.toml")
    assert read_settings(tmp_path / "trial.toml")[1][0].code == "not-a-file"


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)
    settings, (problem,) = read_settings(tmp_path / "trial.toml")
    assert settings is None and problem.code == "file-unreadable" and problem.found == "Permission denied"
