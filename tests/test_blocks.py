"""Blocks: what a notebook shows, what is read back, and what is refused."""

import datetime as dt
import json
import re
import subprocess
import sys

import matplotlib.pyplot as plt
import nbformat
import pandas as pd
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output, new_raw_cell
from report_samples import AWKWARD, ratios

from trialkit.errors import Problem, ReportError
from trialkit.report import blocks, captions, figures

TABLE = pd.DataFrame({"edge_type": ["plain", "carbide"], "estimate": [1 / 3, 2.0], "flag": [True, False]})


def meta(**changes):
    given = {"agency": "Town of Brenmoor", "season": "2030-31", "date": dt.date(2031, 4, 2), **changes}
    return blocks.meta("Cutting edges", **given)


def drawn():
    return blocks.figure(figures.wear_ratios(ratios()), **captions.wear_ratios(ratios()))


def all_blocks():
    return [
        meta(subtitle="Report", interim=True, facts={"Prepared by": "analyst"}),
        blocks.findings(["One.", blocks.Finding(sentence="Two.", verdict="better", detail="Rule.")]),
        blocks.heading("Wear"),
        blocks.text("A paragraph.", "Another."),
        blocks.table(TABLE, "Rates", notes=["A note."]),
        drawn(),
        blocks.problems([Problem("few-trucks", "edge_sets.csv", found="1 truck")]),
        blocks.notes(["Mind this."]),
    ]


def shown(block, execution_count=1):
    """A code cell as it stands in an executed notebook that displayed the block."""
    data = json.loads(json.dumps(block._repr_mimebundle_()))
    output = new_output("execute_result", data, execution_count=execution_count)
    return new_code_cell("x", execution_count=execution_count, outputs=[output])


def notebook(*cells):
    return new_notebook(cells=list(cells))


def ran(*outputs, tags=()):
    return new_code_cell("x", execution_count=1, outputs=list(outputs), metadata={"tags": list(tags)})


# ---------------------------------------------------------------- one bundle each
@pytest.mark.parametrize("block", all_blocks(), ids=lambda block: block.kind)
def test_every_block_comes_back_as_it_was(block):
    below = blocks.text("What stands below.")  # a heading without it would be left out
    assert blocks.read_blocks(notebook(shown(block), shown(below))) == [block, below]


def test_a_heading_under_which_nothing_stands_is_left_out():
    section, part, words = blocks.heading("Empty"), blocks.heading("Part", level=3), blocks.text("Words.")
    kept = blocks.heading("Kept")
    cells = [shown(block) for block in (section, kept, part, words, section)]
    assert blocks.read_blocks(notebook(*cells)) == [kept, part, words]


@pytest.mark.parametrize("block", all_blocks(), ids=lambda block: block.kind)
def test_every_block_shows_json_html_and_text(block):
    bundle = block._repr_mimebundle_()
    assert bundle[blocks.MIME]["kind"] == block.kind
    assert bundle["text/html"].strip().startswith('<div class="trialkit-block mathjax_ignore')
    # JupyterLab would set the words of a table flush right
    has_table = block.kind in ("data_table", "figure", "problems")
    assert ('<th scope="col" style="text-align: left">' in bundle["text/html"]) == has_table
    assert not re.search(r'class="number" style|<td>|<th scope="\w+">', bundle["text/html"])
    assert bundle["text/plain"] == str(block) == repr(block)


def test_json_is_the_same_twice_and_holds_ten_digits():
    first, second = (json.dumps(blocks.table(TABLE, "Rates").payload()) for _ in range(2))
    assert first == second
    assert "0.3333333333," in first
    assert "NaN" not in first


def test_json_holds_nothing_that_is_not_json():
    frame = pd.DataFrame(
        {"value": [float("nan"), float("inf")], "when": [pd.Timestamp("2031-01-14"), pd.NaT]}
    )
    json.dumps(blocks.table(frame, "x").payload(), allow_nan=False)


def test_figure_carries_svg_png_and_no_picture_in_its_json():
    bundle = drawn()._repr_mimebundle_()
    assert bundle["image/svg+xml"].startswith("<svg")
    assert bundle["image/png"].startswith("iVBOR")
    assert set(bundle[blocks.MIME]) == {"kind", "caption", "alt", "data"}
    assert f'alt="{bundle[blocks.MIME]["alt"]}"' in bundle["text/html"]


def test_figure_closes_its_picture():
    plt.close("all")
    drawn()
    assert plt.get_fignums() == []


def test_figure_takes_an_array_of_axes():
    _, axes = plt.subplots(2)
    assert blocks.figure(axes, caption="c", alt="a").data is None


@pytest.mark.parametrize(("caption", "alt", "missing"), [("", "a", "caption"), ("c", "  ", "alt")])
def test_figure_without_words_is_refused(caption, alt, missing):
    _, ax = plt.subplots()
    with pytest.raises(ReportError, match=f"needs words for {missing}"):
        blocks.figure(ax, caption=caption, alt=alt)
    plt.close("all")


def test_table_keeps_raw_values_beside_the_text():
    table = blocks.table(TABLE, "Rates", labels={"plain": "Plain steel"})
    assert table.raw_frame()["estimate"].tolist() == [0.3333333333, 2.0]
    assert table.raw_frame()["edge_type"].tolist() == ["plain", "carbide"]
    assert [row[0] for row in table.shown_texts] == ["Plain steel", "carbide"]
    assert [column.title for column in table.shown_columns] == ["Edge type", "Estimate", "Flag"]


def test_table_without_rows_can_be_shown():
    assert "No rows." in blocks.table(TABLE.iloc[:0], "Rates").html()


def test_table_with_a_column_twice_is_refused():
    with pytest.raises(ReportError, match='"Rates" has two columns named a'):
        blocks.table(pd.DataFrame([[1, 2]], columns=["a", "a"]), "Rates")


def test_table_without_columns_is_refused():
    with pytest.raises(ReportError, match='"Rates" has no column to print'):
        blocks.table(pd.DataFrame(index=[0]), "Rates")
    with pytest.raises(ReportError, match='"Rates" has no column to print'):
        blocks.table(pd.DataFrame({"a": [1]}), "Rates", hide=["a"])


def test_table_as_text_is_aligned():
    assert blocks.table(
        pd.DataFrame({"a": ["x", "long"], "n": [1, 1000]}), "Rates", notes=["Note."]
    ).plain() == ("Rates\n\nA         N\nx         1\nlong  1,000\n\nNote.")


def test_findings_from_a_table_of_verdicts():
    verdicts = pd.DataFrame({"sentence": ["It pays."], "verdict": ["better"], "rule": ["As agreed."]})
    (item,) = blocks.findings(verdicts).items
    assert (item.sentence, item.verdict_words, item.detail) == ("It pays.", "Better", "As agreed.")
    assert blocks.findings(verdicts[["sentence"]]).items[0].verdict == ""


def test_findings_for_the_record_of_the_run():
    box = blocks.findings(["One.", blocks.Finding(sentence="Two.", verdict="worse")])
    assert blocks.findings_of([meta(), box]) == [
        {"sentence": "One.", "verdict": ""},
        {"sentence": "Two.", "verdict": "worse"},
    ]


def test_meta_without_data_has_no_date():
    assert meta(date=None).date == ""
    assert "Interim, not for decision" in meta(interim=True).html()
    assert "nterim" not in meta().html()


def test_problems_put_errors_first_and_say_all_of_them():
    found = [
        Problem("few-trucks", "edge_sets.csv", found="1 truck"),
        Problem(
            "out-of-range",
            "wear_readings.csv",
            14,
            "S-07",
            "height_in",
            "412",
            "a number from 0 to 24",
            "Correct it.",
        ),
    ]
    block = blocks.problems(found)
    assert block.sentence == (
        "The check found 1 error and 1 doubtful entry in the trial data. Nothing was changed; readings that an "
        "analysis could not use are counted in its notes."
    )
    assert block.data.texts[0] == (
        "wear_readings.csv row 14 (S-07)",
        "Error",
        "The number is impossible for this column: height_in is 412; allowed: a number from 0 to 24",
        "Correct it.",
    )
    assert block.data.texts[1][:2] == ("edge_sets.csv", "Doubtful")


def test_no_problems_are_said():
    block = blocks.problems([])
    assert block.data is None
    assert "nothing wrong" in block.sentence


def test_a_sentence_of_the_check_can_stand_above_the_problems():
    assert blocks.problems([], sentence="All is well.").plain() == "All is well."


def test_many_problems_are_counted_and_point_to_the_file():
    found = [Problem("cell-missing", "shifts.csv", row) for row in range(2, 2 + blocks.MOST_PROBLEMS + 5)]
    block = blocks.problems(found)
    assert "105 errors" in block.sentence
    assert len(block.data.rows) == blocks.MOST_PROBLEMS
    assert block.data.notes == ("5 more are listed in data_problems.csv.",)


def test_notes_say_each_thing_once():
    assert blocks.notes(["a", "b", "a", ""]).items == ("a", "b")


def test_headings_of_data_are_words_only():
    assert blocks.heading("**T_1**", 3).plain() == "**T_1**"


@pytest.mark.parametrize("name", AWKWARD)
def test_text_from_data_never_becomes_markup(name):
    made = [
        meta(subtitle=name, facts={name: name}),
        blocks.findings([blocks.Finding(sentence=name, detail=name)]),
        blocks.heading(name),
        blocks.text(name),
        blocks.table(pd.DataFrame({"truck_id": [name]}), name, notes=[name]),
        blocks.problems([Problem("unknown-key", name, 2, name, name, name, name, name)]),
        blocks.notes([name]),
    ]
    for block in made:
        html = block.html()
        assert "<script" not in html
        assert "<em>" not in html
        assert "<strong>" not in html
        assert name in block.plain()
    assert blocks.read_blocks(notebook(*map(shown, made))) == made


# ---------------------------------------------------------------- reading back
def test_cells_come_back_in_order():
    cells = [
        new_markdown_cell("# Name\n\nFor the analyst."),
        shown(meta()),
        new_markdown_cell("## Wear\n\nText.\n\n- a"),
    ]
    found = blocks.read_blocks(notebook(*cells))
    assert [block.kind for block in found] == ["meta", "heading", "text", "list"]


def test_several_blocks_of_one_cell_come_back():
    cell = shown(meta())
    cell.outputs += shown(blocks.text("a")).outputs
    assert [block.kind for block in blocks.read_blocks(notebook(cell))] == ["meta", "text"]


def test_private_cells_are_left_out():
    tags = {"tags": [blocks.NOTEBOOK_ONLY]}
    bare = new_output("execute_result", {"text/plain": "'Written'"}, execution_count=1)
    cells = [
        new_markdown_cell("| a | table |\n|---|---|", metadata=tags),
        ran(bare, tags=[blocks.NOTEBOOK_ONLY]),
        new_raw_cell("raw", metadata=tags),
        new_raw_cell(" "),
        new_code_cell(""),
    ]
    assert blocks.read_blocks(notebook(*cells)) == []


STRAY = [
    (new_output("stream", name="stdout", text="hello\n"), "the cell printed: hello"),
    (
        new_output("stream", name="stderr", text="/tmp/x.py:1: FutureWarning: old"),
        "the cell warned: .*FutureWarning: old",
    ),
    (
        new_output("error", ename="ValueError", evalue="no", traceback=[]),
        "the cell failed with ValueError: no",
    ),
    (
        new_output("execute_result", {"text/plain": "   a\n0  1", "text/html": "<table>"}),
        "the cell shows a bare result: a 0 1",
    ),
    (
        new_output("display_data", {"text/plain": "<Figure>", "image/png": "iVBOR"}),
        "the cell shows a bare picture",
    ),
]


@pytest.mark.parametrize(("output", "reason"), STRAY, ids=["print", "warning", "error", "frame", "picture"])
def test_anything_stray_is_refused_with_its_place(output, reason, tmp_path):
    path = tmp_path / "02_wear.ipynb"
    nbformat.write(notebook(new_markdown_cell("## A"), ran(output)), path)
    with pytest.raises(ReportError, match=rf"^02_wear\.ipynb, cell 2: {reason}"):
        blocks.read_blocks(path)


@pytest.mark.parametrize("output", [STRAY[1][0], STRAY[2][0]], ids=["warning", "error"])
def test_warnings_and_errors_are_refused_in_private_cells_too(output):
    with pytest.raises(ReportError, match="cell 1"):
        blocks.read_blocks(notebook(ran(output, tags=[blocks.NOTEBOOK_ONLY])))


def test_a_cell_that_was_not_run_is_refused():
    with pytest.raises(ReportError, match="cell 2: the cell has not been run"):
        blocks.read_blocks(notebook(shown(meta()), new_code_cell("blocks.text('a')")))


@pytest.mark.parametrize(
    ("source", "reason"),
    [
        ("![a](b.png)", "cannot print an image"),
        ("# Second title", '"Second title" is a heading of level 1'),
        ("##### Deep", '"Deep" is a heading of level 5'),
    ],
)
def test_text_cells_are_read_strictly(source, reason):
    with pytest.raises(ReportError, match=f"^The notebook, cell 2: .*{reason}"):
        blocks.read_blocks(notebook(new_markdown_cell("## A"), new_markdown_cell(source)))


def test_raw_cells_are_refused():
    with pytest.raises(ReportError, match="cell 1: a raw cell cannot be printed"):
        blocks.read_blocks(notebook(new_raw_cell("x")))


@pytest.mark.parametrize(
    "change",
    [{"kind": "banner"}, {"caption": None}, {"extra": 1}, {"rows": "x"}],
    ids=lambda change: next(iter(change)),
)
def test_a_block_of_another_version_is_refused(change):
    cell = shown(blocks.table(TABLE, "Rates"))
    cell.outputs[0].data[blocks.MIME].update(change)
    with pytest.raises(
        ReportError, match=r"cell 1: the block is not one that this version knows .* Run the notebook again"
    ):
        blocks.read_blocks(notebook(cell))


def test_a_long_stray_text_is_cut():
    with pytest.raises(ReportError, match=r"x{119}…;"):
        blocks.read_blocks(notebook(ran(new_output("stream", name="stdout", text="x" * 500))))


# ---------------------------------------------------------------- a real notebook
def test_a_notebook_run_by_papermill_gives_its_blocks(tmp_path):
    from trialkit.report.running import skip_unused_grammar

    skip_unused_grammar()
    import papermill

    cells = [
        new_markdown_cell("# Sample"),
        new_code_cell('name: str = "plain"  # a name', metadata={"tags": ["parameters"]}),
        new_code_cell(
            "import pandas as pd\nimport matplotlib.pyplot as plt\nfrom trialkit.report import blocks"
        ),
        new_code_cell('blocks.meta("Title", agency="A", season="B")'),
        new_code_cell('blocks.table(pd.DataFrame({"truck_id": [name]}), "Trucks")'),
        new_code_cell('blocks.figure(plt.subplots()[-1], caption="c", alt="a")'),
        new_code_cell('blocks.show(blocks.text("a"), blocks.notes(["b"]))'),
    ]
    source = notebook(*cells)
    source.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(source, tmp_path / "in.ipynb")
    papermill.execute_notebook(
        str(tmp_path / "in.ipynb"),
        str(tmp_path / "out.ipynb"),
        parameters={"name": AWKWARD[0]},
        progress_bar=False,
        extra_arguments=["--IPKernelApp.log_level=40"],
    )
    found = blocks.read_blocks(tmp_path / "out.ipynb")
    assert [block.kind for block in found] == ["meta", "data_table", "figure", "text", "caveats"]
    assert found[1].rows == ((AWKWARD[0],),)
    assert found[2].svg.startswith("<svg")
    assert found[2].png.startswith("iVBOR")


def test_blocks_do_not_load_a_plotting_library():
    code = "import sys; from trialkit.report import blocks, captions, document; print(sorted(sys.modules))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for heavy in (
        "matplotlib",
        "seaborn",
        "nbconvert",
        "jinja2",
        "mistune",
        "nbformat",
        "scipy",
        "papermill",
    ):
        assert f"'{heavy}'" not in loaded


def test_several_blocks_are_shown_one_after_another(monkeypatch):
    import IPython.display

    displayed = []
    monkeypatch.setattr(IPython.display, "display", displayed.append)
    blocks.show(blocks.text("a"), blocks.notes(["b"]))
    assert [block.kind for block in displayed] == ["text", "caveats"]
