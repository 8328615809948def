"""The column dictionary: every column, setting and code is in it, and it is read from where it is declared."""

import re
from pathlib import Path

import pytest

from trialkit import tables
from trialkit.columns import CHOICE, NUMBER, Column
from trialkit.demo import dictionary
from trialkit.errors import CODES
from trialkit.settings import Settings

README = (Path(__file__).parents[1] / "data_demo" / "README.md").read_text(encoding="utf-8")


def cells(line):
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]


def section(text, heading):
    return text.split(f"\n{heading}\n", 1)[1].split("\n#", 1)[0]


def test_demo_readme_holds_the_dictionary():
    assert README.endswith(dictionary.dictionary_markdown())


@pytest.mark.parametrize("name", tables.TABLES)
def test_each_column_is_described(name):
    table = tables.TABLES[name]
    text = section(README, f"### {name}")
    lines = [cells(line) for line in text.splitlines() if line.startswith("| `")]
    assert [line[0] for line in lines] == [f"`{column}`" for column in table.names]
    for line, column in zip(lines, table.columns, strict=True):
        assert line[3] == ("yes" if column.required else "no")
        assert line[5] == ("" if column.required else column.blank_means)
        assert line[6] == column.about.replace("|", "\\|")
        for choice in column.choices:
            assert choice in line[2]
        if column.refers_to:
            assert f"`{column.refers_to}`" in line[2]
    assert ("Every trial needs it." in text) == table.needed
    assert all(f"`{key}`" in text.split("Key: ")[1].split("\n")[0] for key in table.key)


def test_tables_that_need_a_group_or_one_of_several_say_so():
    assert "`truck_id` and `plow_position` together must be in `trucks`." in section(README, "### set_events")
    assert "at least one of `quantity_lb` and `quantity_gal`." in section(README, "### material")


def test_each_markdown_table_has_as_many_cells_in_every_row():
    blocks = re.findall(r"(?:^\|.*\|\n)+", README, re.M)
    assert len(blocks) == len(tables.TABLES) + 5
    for block in blocks:
        assert len({len(cells(line)) for line in block.splitlines()}) == 1


def test_the_log_of_what_was_added_is_described():
    lines = [cells(line) for line in section(README, "### intake_log").splitlines() if line.startswith("| `")]
    assert [line[0] for line in lines] == [f"`{column}`" for column in tables.INTAKE_LOG.names]


def test_every_setting_is_there_with_its_default():
    lines = {cells(line)[0]: cells(line)[1:] for line in dictionary.settings_markdown().splitlines()[2:]}
    assert lines["`trial_id`"][0] == "none: must be given"
    assert lines["`confidence_level`"] == ["`0.95`", "confidence level of every interval"]
    assert lines["`plan.looks`"][0] == lines["`cost.analysis_year`"][0] == "not set"
    assert lines["`units`"][0] == '`"us"`'
    flat = {f"`{name}`" for name in Settings.model_fields} - {"`plan`", "`noise`", "`cost`", "`material`"}
    assert flat <= set(lines)
    assert sum(line[0].startswith("none") for line in lines.values()) == 5
    assert lines["`noise.criterion`"][0] == lines["`noise.criterion.threshold_dba`"][0] == "not set"
    assert lines["`noise.criterion.citation`"][0] == "each must give it"


def test_every_code_is_there_and_rules_name_only_codes():
    lines = {cells(line)[0] for line in dictionary.codes_markdown().splitlines()[2:]}
    assert lines == {f"`{code}`" for code in CODES}
    named = [code for _, codes in dictionary.RULES for code in codes]
    assert set(named) <= set(CODES)
    assert len(named) == len(set(named))
    across = list(CODES)[list(CODES).index("two-sets-active") :]
    assert set(across) - set(named) == {"unit-of-quantity"}  # said under "The tables"
    assert all(f"`{code}`" in dictionary.rules_markdown() for code in named)


def test_unit_and_bounds_words():
    assert dictionary.unit_words(tables.WEAR_READINGS.column("height_in")) == "in; or `_mm`"
    assert dictionary.unit_words(tables.MATERIAL.column("quantity_lb")) == "lb; or `_kg`, `_ton`, `_t`"
    assert dictionary.unit_words(tables.COSTS.column("amount_usd")) == "currency of the trial"
    assert dictionary.unit_words(tables.WEAR_READINGS.column("note")) == ""
    assert dictionary.doubtful_words(tables.SOUND.column("level_dba")) == (
        "below 65 or above 105 (common practice, no source)"
    )
    assert dictionary.doubtful_words(tables.SOUND.column("task")) == ""


def test_a_pipe_in_a_description_does_not_break_the_table():
    table = tables.Table("odd", "one odd thing", (), (Column("x", NUMBER, "X", "This | that."),))
    assert "This \\| that." in dictionary.table_markdown(table)
    assert "none; rows are only ever added" in dictionary.table_markdown(table)


def test_headings_start_at_the_level_asked_for():
    text = dictionary.dictionary_markdown(level=3)
    assert text.startswith("### The tables\n")
    assert "\n#### edge_types\n" in text
    assert text.endswith("|\n")
    assert Column("x", CHOICE, "X", "Y.", choices=("a", "b")).allowed == "a, b"
