"""The tables agree with themselves: keys, references, units, bounds and words."""

import pytest

from trialkit import units
from trialkit.columns import CHOICE, MOMENT, TEXT
from trialkit.tables import ENDS_LIFE, EVENTS, KEY_SEPARATOR, NEEDED, STARTS_SEGMENT, TABLES
from trialkit.trial.headings import spellings

COLUMNS = [(table, column) for table in TABLES.values() for column in table.columns]
named = pytest.mark.parametrize(("table", "column"), COLUMNS, ids=lambda item: item.name)


def test_the_needed_tables():
    assert NEEDED == ("edge_types", "trucks", "edge_sets", "set_events", "wear_readings")
    assert list(TABLES)[: len(NEEDED)] == list(NEEDED)


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_keys_and_groups_are_columns_of_the_table(table):
    assert TABLES[table.name] is table and table.about
    assert len(set(table.names)) == len(table.names)
    assert set(table.key) <= set(table.names)
    for group in table.either:
        assert set(group) <= set(table.names)
    for group, other in table.group_refers_to:
        assert set(group) <= set(table.names) and group == TABLES[other].key
    optional_from = [not table.column(name).required for name in table.key]
    assert optional_from == sorted(optional_from), "key columns that may be left out come last"


@named
def test_a_column_is_described(table, column):
    assert table.column(column.name) is column
    assert column.label and column.about.endswith(".")
    assert column.choices or column.kind != CHOICE
    assert not column.is_numeric or column.low is not None
    assert KEY_SEPARATOR.strip() not in column.name


@named
def test_a_reference_names_a_table_with_that_one_key(table, column):
    if column.refers_to:
        other = TABLES[column.refers_to]
        assert column.name in other.key


@named
def test_doubtful_values_are_possible_ones(table, column):
    edges = [
        edge for edge in (column.low, column.doubt_low, column.doubt_high, column.high) if edge is not None
    ]
    assert edges == sorted(edges)


@named
def test_a_measured_column_ends_in_its_unit(table, column):
    if column.unit:
        assert column.name.endswith(f"_{column.unit}") and column.unit in units.UNIT_NAMES
    assert column.kind not in (TEXT, MOMENT, CHOICE) or column.unit == ""


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_no_header_means_two_columns(table):
    headers = [header for column in table.columns for header in spellings(column)]
    assert len(set(headers)) == len(headers)


def test_a_column_that_is_not_there():
    with pytest.raises(KeyError, match="height_furlongs"):
        TABLES["wear_readings"].column("height_furlongs")


def test_events_that_start_and_end_are_events():
    assert set(STARTS_SEGMENT) <= set(EVENTS) and set(ENDS_LIFE) <= set(EVENTS)
    assert not set(STARTS_SEGMENT) & set(ENDS_LIFE)
