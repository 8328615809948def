"""Several winters in one trial folder: how they are read, checked, reported and hashed."""

import pytest
from conftest import SETTINGS, TABLES, write_trial

from trialkit.report import council, season_study, study
from trialkit.trial import checks


def write_two(folder, more="", **earlier):
    """A trial with an earlier winter in a folder of its own."""
    write_trial(folder)
    (folder / "trial.toml").write_text(f'{SETTINGS}\nearlier_seasons = ["winter_2029"]\n{more}')
    write_trial(folder / "winter_2029", **earlier)
    own = (folder / "winter_2029" / "trial.toml").read_text().replace("2030-31", "2029-30")
    (folder / "winter_2029" / "trial.toml").write_text(own)
    return folder


def problems_of(folder):
    return {
        (problem.code, problem.file, problem.column): problem
        for problem in checks.check_trial(folder).problems
    }


def test_both_winters_are_compared_and_told(tmp_path):
    trial = checks.check_trial(write_two(tmp_path, '[plan]\npool_seasons = "always"\n')).require_clean()
    assert [earlier.settings.season for earlier in trial.earlier] == ["2029-30"]
    found = season_study.seasons_of(trial, study.wear_rates(trial))
    assert list(found.table["season"]) == ["2029-30", "2030-31", "all seasons"]
    words, table, notes = season_study.in_blocks(found)
    assert "over all seasons" in words.plain()
    assert len(table.rows) == 3
    assert found.method in notes.plain()
    assert set(season_study.tables(found)) == {"seasons"}


def test_one_winter_says_how_to_name_others(tmp_path):
    trial = checks.check_trial(write_trial(tmp_path)).require_clean()
    assert season_study.seasons_of(trial, study.wear_rates(trial)) is None
    assert [block.plain() for block in season_study.in_blocks(None)] == [season_study.ONE_WINTER]
    assert season_study.tables(None) == {}


def test_the_files_of_earlier_winters_belong_to_the_trial(tmp_path):
    before = checks.check_trial(write_two(tmp_path)).require_clean()
    assert "winter_2029/wear_readings.csv" in before.hashes
    path = tmp_path / "winter_2029" / "wear_readings.csv"
    path.write_text(path.read_text().replace("5.190", "5.191"))
    after = checks.check_trial(tmp_path).require_clean()
    for name in (checks.EARLIER, checks.EVERYTHING):
        assert before.digest(name) != after.digest(name)
    assert before.digest("wear_readings") == after.digest("wear_readings")
    assert checks.EARLIER not in after.reads
    assert after.earlier
    assert "Files of earlier winters" in set(council.provenance(after)["fact"])


def test_problems_of_an_earlier_winter_name_its_folder(tmp_path):
    readings = TABLES["wear_readings"].replace("5.190", "51.90")
    found = problems_of(write_two(tmp_path, wear_readings=readings))
    assert any(file == "winter_2029/wear_readings.csv" for _, file, _ in found)
    assert all(not problem.stops or problem.file.startswith("winter_2029/") for problem in found.values())
    with pytest.raises(checks.TrialDataError):
        checks.check_trial(tmp_path).require_clean()


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ("../other", "which lies outside"),
        ("/tmp", "which lies outside"),
        (".", "which lies outside"),
        ("winter_2028", "which is not there"),
    ],
)
def test_a_folder_that_cannot_be_an_earlier_winter_is_told(tmp_path, named, said):
    folder = write_trial(tmp_path / "trial")
    (folder / "trial.toml").write_text(f'{SETTINGS}\nearlier_seasons = ["{named}"]\n')
    problem = problems_of(folder)["setting-invalid", "trial.toml", "earlier_seasons"]
    assert said in problem.found
    assert problem.allowed == "a folder inside the trial folder that is a trial folder of its own"


def test_winters_need_different_names_and_the_same_reference(tmp_path):
    folder = write_two(tmp_path)
    path = folder / "winter_2029" / "trial.toml"
    path.write_text(SETTINGS.replace('"plain_steel"', '"carbide_insert"'))
    found = problems_of(folder)
    assert found["setting-invalid", "trial.toml", "season"].found == '"2030-31" twice'
    assert found["setting-invalid", "trial.toml", "reference_edge_type"].found == (
        '"carbide_insert" in winter_2029 and "plain_steel" here'
    )


def test_an_earlier_winter_names_none_itself(tmp_path):
    folder = write_two(tmp_path)
    path = folder / "winter_2029" / "trial.toml"
    path.write_text(path.read_text() + '\nearlier_seasons = ["older"]\n')
    found = problems_of(folder)["setting-invalid", "trial.toml", "earlier_seasons"]
    assert found.found == '"winter_2029", which names earlier winters itself'
