"""The shape of the project: imports follow the module map, columns are spelled once, the README's tree is the disk."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from trialkit import columns, tables

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "trialkit"
PATHS = {path.relative_to(PACKAGE).with_suffix("").as_posix(): path for path in sorted(PACKAGE.rglob("*.py"))}
MODULES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in PATHS.items()}
VOCABULARY = "trialkit"
TOPICS = ("edges", "cab", "money")
LONGEST = 500


def package_of(name: str) -> str:
    """Package of a module; the modules beside `__init__` are the vocabulary."""
    return name.split("/")[0] if "/" in name else VOCABULARY


def section(start: str, end: str) -> str:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return text[text.index(start) : text.index(end)]


def package_map() -> dict[str, set[str]]:
    """Package -> packages it may import, from the table in DEVELOPERS.md."""
    rows = re.findall(r"^\| `(\w+)` \|[^|]*\|([^|]*)\|$", section("| package |", "**Vocabulary"), re.M)
    return {name: set(re.findall(r"`(\w+)`", allowed)) for name, allowed in rows}


def imported(tree: ast.Module) -> set[str]:
    """Modules of trialkit that a module imports, anywhere in it, as ``package/module``."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "trialkit":
            base = "/".join(node.module.split(".")[1:])
            found |= {f"{base}/{alias.name}".strip("/") for alias in node.names} | {base}
        elif isinstance(node, ast.Import):
            found |= {
                "/".join(alias.name.split(".")[1:])
                for alias in node.names
                if alias.name.startswith("trialkit.")
            }
    return found & set(MODULES)


def test_module_map_names_every_module():
    listed = re.findall(r"^\| `(\w+)` \|[^|]*\|$", section("**Vocabulary", "## Recipes"), re.M)
    assert sorted(listed) == sorted(name.split("/")[-1] for name in MODULES if not name.endswith("__init__"))


@pytest.mark.parametrize("name", [name for name in MODULES if name != "__main__"])
def test_imports_follow_the_package_map(name):
    own = package_of(name)
    allowed = package_map()[own] | {own}
    assert {package_of(other) for other in imported(MODULES[name])} <= allowed


def test_every_arrow_of_the_package_map_is_used():
    for own, allowed in package_map().items():
        used = {
            package_of(other)
            for name in MODULES
            if package_of(name) == own and name != "__main__"
            for other in imported(MODULES[name])
        }
        assert allowed <= used | {own}, own


def test_no_modules_import_each_other_in_a_circle():
    left = {name: imported(tree) - {name} for name, tree in MODULES.items()}
    while left:
        free = [name for name, needs in left.items() if not needs & set(left)]
        assert free, f"these modules import each other: {sorted(left)}"
        left = {name: needs for name, needs in left.items() if name not in free}


def test_topics_do_not_import_each_other_and_only_the_command_imports_the_report():
    for topic in TOPICS:
        assert not package_map()[topic] & (set(TOPICS) - {topic})
    assert [name for name, tree in MODULES.items() if "report/reporting" in imported(tree)] == ["__main__"]


@pytest.mark.parametrize("name", [name for name in MODULES if name != "columns"])
def test_columns_are_spelled_in_one_module_only(name):
    declared = {column.name for table in tables.TABLES.values() for column in table.columns}
    declared |= {columns.ESTIMATE, columns.STD_ERROR, columns.CONF_LOW, columns.CONF_HIGH, columns.N_TRUCKS}
    tricky = {word for word in declared if "_" not in word}  # plain words such as "date" or "end"
    spelled = []
    for node in ast.walk(MODULES[name]):
        if isinstance(node, ast.Constant) and node.value in declared - tricky:
            spelled.append((node.lineno, node.value))
        if (
            isinstance(node, ast.Subscript)
            and isinstance(node.slice, ast.Constant)
            and node.slice.value in declared
        ):
            spelled.append((node.lineno, node.slice.value))
    assert not spelled, "use the constants of columns.py"


@pytest.mark.parametrize("path", PATHS)
def test_modules_are_short_and_say_which_question_they_answer(path):
    assert len(PATHS[path].read_text(encoding="utf-8").splitlines()) <= LONGEST
    assert ast.get_docstring(MODULES[path])


def test_readme_tree_is_the_disk():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    tree = re.search(r"```text\n(.*?)```", readme, re.S).group(1)
    listed = {line.split()[0].rstrip("/") for line in tree.splitlines() if line and not line.startswith(" ")}
    files = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in files if name and not name.startswith(".")}
    assert listed == top
    notebooks = {
        line.split()[0] for line in tree.splitlines() if line.strip().endswith(".ipynb") or ".ipynb " in line
    }
    assert notebooks == {path.name for path in (ROOT / "notebooks").glob("*.ipynb")}


def test_nothing_heavy_is_imported_before_it_is_needed():
    code = (
        "import sys, trialkit, trialkit.__main__; print(sorted({name.split('.')[0] for name in sys.modules}))"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for heavy in (
        "pandas",
        "numpy",
        "scipy",
        "statsmodels",
        "matplotlib",
        "seaborn",
        "papermill",
        "pandera",
        "pydantic",
    ):
        assert f"'{heavy}'" not in loaded
