"""The whole report on the demo trial with ``units = "metric"``: no US unit is left, and every number is the US one converted."""

import re
import shutil
from pathlib import Path

import nbformat
import pytest
from in_process import notebooks_in_process
from shared_runs import shared_report
from test_metric import us_words

from trialkit import display
from trialkit.report import blocks, council, doubt_words, reporting, running
from trialkit.report.block_types import MIME

HERE = Path(__file__).parents[1]
DEMO = HERE.parent / "data_demo"
# exact by definition, NIST Special Publication 811 (2008), appendix B.8
INCH_MM, MILE_KM, POUND_KG, FOOT_M, GALLON_L = 25.4, 1.609344, 0.45359237, 0.3048, 3.785411784
FACTORS = {
    "in": INCH_MM, "mi": MILE_KM, "ft": FOOT_M, "lb": POUND_KG, "gal": GALLON_L, "mph": MILE_KM, "lane-mi": MILE_KM,
    "two-lane mi": MILE_KM, "short ton": 2000 * POUND_KG / 1000, "1000 mi": MILE_KM,
}  # fmt: skip
RENAMED = {"c": "f", "km": "mi", "mm": "in", "kg": "lb", "l": "gal", "kmh": "mph", "m": "ft"}
NUMBERS = {
    "02_wear.ipynb": 50,
    "03_life.ipynb": 100,
    "04_noise.ipynb": 50,
    "05_sensitivity.ipynb": 20,
    "06_material.ipynb": 30,
    "10_council_report.ipynb": 50,
}
"""Fewest numbers that are compared, so that a test that compares nothing fails."""
OF_THE_ROW = (
    "estimate", "std_error", "conf_low", "conf_high", "pred_low", "pred_high", "early_rate", "late_rate", "upper_bound",
    "rounding_bound",
)  # fmt: skip
ROUNDED = {doubt_words.SHARES_CAPTION: 0.5 * MILE_KM + 0.5}
"""Tables that are made of whole numbers, so that both sides are rounded."""
AS_TYPED = ("problems", council.DECISIONS_CAPTION)
"""What speaks in the words of the trial's files, whose tables are in US units: problems, and decisions on cells."""


@pytest.fixture(scope="module")
def metric_run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("metric") / "trial"
    shutil.copytree(DEMO, folder)
    settings = (folder / "trial.toml").read_text(encoding="utf-8")
    assert settings.count('units = "us"') == 1
    (folder / "trial.toml").write_text(settings.replace('units = "us"', 'units = "metric"'), encoding="utf-8")
    with display.showing("us"), notebooks_in_process():
        yield reporting.write_report(folder, reports=folder.parent / "reports", quiet=True).parent


@pytest.fixture(scope="module")
def us_run(tmp_path_factory):
    return shared_report("demo", tmp_path_factory).parent


def shown(cell):
    """The blocks of an executed cell."""
    found = [output.get("data", {}).get(MIME) for output in cell.get("outputs", [])]
    return [blocks._BLOCK.validate_python(data) for data in found if data and data["kind"] != "figure"]


def factor(unit: str) -> float:
    """What a number in a US unit is multiplied by."""
    top, *below = unit.removeprefix("per ").split("/")
    if unit.startswith("per "):
        return 1 / FACTORS.get(top, 1.0)
    found = FACTORS.get(top, 1.0)
    for part in below:
        found /= FACTORS.get(part, 1.0)
    return found


def us_name(name: str) -> str:
    """The name of a column before it was shown in metric units."""
    return "_".join(RENAMED.get(part, part) for part in name.replace("kilometer", "mile").split("_"))


def unit_of(column, row) -> str:
    """The US unit of a cell: of the heading, of the row, or of the name."""
    if column.name in OF_THE_ROW and row.get("unit"):
        return row["unit"]
    if column.name in OF_THE_ROW and row.get("term") == "each mile per hour":
        return "dB/mph"
    if column.name.startswith("depth_pct"):
        return "%/1000 mi"
    return column.unit or ("mi" if re.search(r"miles|_mi$", column.name) else "")


def test_no_us_unit_is_left_in_what_people_read(metric_run):
    with display.showing("metric"):
        found = {
            f"{path.name} {number}": us_words(words_of(block))
            for path in sorted((metric_run / "notebooks").glob("*.ipynb"))
            for number, block in enumerate(blocks.read_blocks(path))
            if block.kind not in AS_TYPED and getattr(block, "caption", "") not in AS_TYPED
        }
    assert len(found) > 100
    assert {place: words for place, words in found.items() if words} == {}


def words_of(block) -> str:
    """Everything of a block that can be read: for a figure also what is written in it and its numbers."""
    if block.kind != "figure":
        return block.plain()
    drawn = re.sub(r"<(style|metadata|defs).*?</\1>|<[^>]+>", " ", block.svg, flags=re.S)
    return "\n".join([block.plain(), drawn, block.data.plain() if block.data else ""])


@pytest.mark.parametrize(
    ("name", "at_least"), [(path.name, NUMBERS.get(path.name, 0)) for path in running.notebooks()]
)
def test_every_number_in_a_table_is_the_us_one_converted(us_run, metric_run, name, at_least):
    us, metric = (
        {
            cell.id: shown(cell)
            for cell in nbformat.read(run / "notebooks" / name, as_version=4).cells
            if shown(cell)
        }
        for run in (us_run, metric_run)
    )
    compared = 0
    for place, before in us.items():
        tables = [block for block in before if block.kind == "data_table"]
        after = [block for block in metric[place] if block.kind == "data_table"]
        assert not before or [block.kind for block in before] == [block.kind for block in metric[place]]
        for old, new in zip(tables, after if tables else [], strict=True):
            assert [us_name(column.name) for column in new.columns] == [
                us_name(column.name) for column in old.columns
            ]
            names = [column.name for column in old.columns]
            for old_row, new_row in zip(old.rows, new.rows, strict=True):
                row = dict(zip(names, old_row, strict=True))
                for column, one, other in zip(old.columns, old_row, new_row, strict=True):
                    if isinstance(one, float):
                        where = f"{place}, {old.caption}, {column.name}"
                        unit = unit_of(column, row)
                        wanted = (one - 32) / 1.8 if unit == "°F" else one * factor(unit)
                        assert other == pytest.approx(wanted, rel=1e-8, abs=ROUNDED.get(old.caption, 1e-9)), (
                            where
                        )
                        compared += 1
    assert compared >= at_least


def test_saved_tables_stay_in_us_units(metric_run):
    wear = (metric_run / "tables" / "wear_rates.csv").read_text(encoding="utf-8")
    assert "in/1000 mi" in wear and "mm" not in wear
