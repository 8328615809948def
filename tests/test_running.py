"""Notebooks get their parameters, and a failure is told by notebook, cell and reason."""

import json

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from trialkit.errors import ReportError, UsageError
from trialkit.report import running

PARAMETERS = 'data_dir: str = "here"  # folder\nlevel: float = 0.95  # level'


def write_notebook(path, *cells, parameters=PARAMETERS):
    notebook = new_notebook(
        cells=[
            new_markdown_cell("# Title"),
            new_code_cell(parameters, metadata={"tags": ["parameters"]}),
            *cells,
        ]
    )
    notebook.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, path)
    return path


def test_installed_notebooks_are_numbered_and_in_order():
    names = [path.name for path in running.notebooks()]
    assert names == sorted(names)
    assert "10_council_report.ipynb" in names


def test_a_folder_without_notebooks_is_an_error(tmp_path):
    with pytest.raises(
        ReportError, match=f"no notebooks such as 02_wear.ipynb in {tmp_path}; copy the installed ones"
    ):
        running.notebooks(tmp_path)


def test_only_numbered_notebooks_count(tmp_path):
    write_notebook(tmp_path / "01_a.ipynb")
    write_notebook(tmp_path / "scratch.ipynb")
    assert [path.name for path in running.notebooks(tmp_path)] == ["01_a.ipynb"]


def test_parameters_are_read_from_the_cell(tmp_path):
    assert running.parameters_of(write_notebook(tmp_path / "01_a.ipynb")) == {
        "data_dir": '"here"',
        "level": "0.95",
    }


def test_a_misspelt_parameter_is_an_error_with_a_suggestion(tmp_path):
    source = write_notebook(tmp_path / "01_a.ipynb")
    with pytest.raises(
        UsageError, match=r'"levle" is not a parameter of any notebook\. Did you mean "level"'
    ) as caught:
        running.check_parameters(["levle", "data_dir", "xyzzy"], [source])
    assert '"xyzzy" is not a parameter of any notebook.\n' in str(caught.value)
    assert "The parameters are: data_dir, level." in str(caught.value)


def test_a_parameter_that_the_run_sets_itself_is_not_offered(tmp_path):
    source = write_notebook(tmp_path / "01_a.ipynb")
    with pytest.raises(UsageError) as caught:
        running.check_parameters(["data_dirr"], [source], reserved=["data_dir"])
    assert str(caught.value) == '"data_dirr" is not a parameter of any notebook.\nThe parameters are: level.'
    with pytest.raises(UsageError, match=r"notebook\.\nThere are none to set\.$"):
        running.check_parameters(["level2"], [source], reserved=["data_dir", "level"])


def test_a_full_disk_is_told_in_plain_words(tmp_path, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device", "02_b.ipynb")

    monkeypatch.setattr("papermill.execute_notebook", full)
    with pytest.raises(ReportError) as caught:
        running.run_notebooks([write_notebook(tmp_path / "02_b.ipynb")], {}, tmp_path)
    assert str(caught.value) == "02_b.ipynb could not be run: No space left on device (02_b.ipynb)."


def test_runs_with_the_parameters_each_notebook_has(tmp_path):
    first = write_notebook(tmp_path / "01_a.ipynb", new_code_cell("print(data_dir, level)"))
    second = write_notebook(
        tmp_path / "02_b.ipynb", new_code_cell("print(data_dir)"), parameters='data_dir: str = ""  # folder'
    )
    out = tmp_path / "out"
    out.mkdir()
    seen = []
    runs = running.run_notebooks([first, second], {"data_dir": "there", "level": 0.9}, out, seen.append)
    assert [run.source for run in runs] == [first, second]
    assert {run.source for run in seen} == {first, second}
    texts = [nbformat.read(run.executed, as_version=4).cells[-1].outputs[0].text for run in runs]
    assert texts == ["there 0.9\n", "there\n"]
    assert all(run.seconds > 0 for run in runs)


def test_a_failing_cell_is_told_with_notebook_cell_heading_and_our_words(tmp_path):
    cells = [
        new_markdown_cell("## How fast?"),
        new_code_cell(
            "from trialkit.errors import NotEnoughDataError\nraise NotEnoughDataError('1 truck; 2 are needed.')"
        ),
    ]
    source = write_notebook(tmp_path / "02_wear.ipynb", *cells)
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(ReportError) as caught:
        running.run_notebooks([source], {}, out)
    assert str(caught.value).splitlines() == [
        '02_wear.ipynb stopped at cell 4, under "How fast?":',
        "1 truck; 2 are needed.",
    ]
    assert (out / "02_wear.ipynb").exists()


def test_another_error_is_told_with_its_kind(tmp_path):
    source = write_notebook(tmp_path / "02_wear.ipynb", new_code_cell("1 / 0"))
    (tmp_path / "out").mkdir()
    with pytest.raises(ReportError, match="ZeroDivisionError: division by zero"):
        running.run_notebooks([source], {}, tmp_path / "out")


def test_a_notebook_that_is_none_is_told(tmp_path):
    source = tmp_path / "01_a.ipynb"
    source.write_text("not a notebook")
    with pytest.raises(ReportError, match=r"01_a.ipynb"):
        running.run_notebooks([source], {}, tmp_path)


def test_the_notebook_of_the_plan_is_no_part_of_a_report():
    assert running.PLAN_NOTEBOOK not in {path.name for path in running.notebooks()}
    assert running.plan_notebook().is_file()


def test_a_missing_notebook_of_the_plan_is_said(monkeypatch, tmp_path):
    monkeypatch.setattr(running, "notebook_folder", lambda: tmp_path)
    with pytest.raises(ReportError, match=r"there is no 08_plan\.ipynb in .*; install trialkit again"):
        running.plan_notebook()


def test_files_beside_the_data_are_never_imported(tmp_path, monkeypatch):
    """A folder from which a report is run, or which holds the trial, may hold files named like modules."""
    trial, out = tmp_path / "trial", tmp_path / "out"
    (trial / "trialkit").mkdir(parents=True)
    out.mkdir()
    mark = tmp_path / "executed"
    for name in ("pandas.py", "ipykernel_launcher.py", "json.py", "sitecustomize.py", "trialkit/__init__.py"):
        (trial / name).write_text(f"open({str(mark)!r}, 'a').write({name!r})")
    (trial / "02_wear.ipynb").write_text("not a notebook")
    monkeypatch.chdir(trial)
    source = write_notebook(
        tmp_path / "01_a.ipynb",
        new_code_cell(
            "import json, os, sys\nimport pandas\nimport trialkit\nprint(json.dumps([os.getcwd(), data_dir, pandas.__file__]))"
        ),
        parameters='data_dir: str = ""',
    )
    running.run_notebooks([source], {"data_dir": str(trial)}, out)
    said = json.loads(nbformat.read(out / "01_a.ipynb", as_version=4).cells[-1].outputs[0].text)
    assert said[:2] == [str(out), str(trial)]
    assert "site-packages" in said[2]
    assert not mark.exists()
    assert [path.name for path in out.iterdir()] == ["01_a.ipynb"]
