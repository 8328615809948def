"""The words of the council report that do not belong to one analysis."""

from conftest import TABLES, write_trial

from trialkit.report import council_sections, council_study
from trialkit.trial.checks import check_trial


def finding_of(folder):
    studied = council_study.studies(check_trial(folder).require_clean())
    return [found.sentence for found in council_sections.front(studied)]


def test_the_finding_says_what_it_rests_on(trial_folder):
    assert finding_of(trial_folder)[-1].startswith("This rests on 36 height readings from 4 trucks;")


def test_without_a_single_known_mile_the_finding_says_what_is_missing(tmp_path):
    lines = [line.split(",") for line in TABLES["wear_readings"].splitlines()]
    place = lines[0].index("counter_mi")
    text = "\n".join(",".join([*line[:place], *line[place + 1 :]]) for line in lines)
    said = finding_of(write_trial(tmp_path, wear_readings=text + "\n"))
    assert said[0] == "No edge type is set against the reference: on no plow position could both be measured."
    assert said[-1].startswith("No height reading can be used yet: it takes two of one station at different")
