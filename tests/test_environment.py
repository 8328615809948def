"""pyproject.toml and environment.yml list the same packages with the same bounds, and this machine satisfies them."""

import importlib.metadata
import tomllib
from pathlib import Path

import pytest
import yaml
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
CONDA_NAMES = {"matplotlib": "matplotlib-base"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PACKAGES = [Requirement(line) for line in PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"]]
CONDA = yaml.safe_load((ROOT / "environment.yml").read_text(encoding="utf-8"))["dependencies"]


def test_both_lists_are_the_same():
    from_pip = next(line["pip"] for line in CONDA if isinstance(line, dict))
    lines = [*CONDA, *(line for line in from_pip if not line.startswith("--"))]
    conda = [Requirement(line) for line in lines if isinstance(line, str) and line != "pip"]
    conda_bounds = {package.name: package.specifier for package in conda}
    assert conda_bounds.pop("python") == Requirement(f"python{PROJECT['requires-python']}").specifier
    assert conda_bounds == {
        CONDA_NAMES.get(package.name, package.name): package.specifier for package in PACKAGES
    }


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.name)
def test_every_package_has_a_lower_bound_that_is_met_here(package):
    assert any(bound.operator == ">=" for bound in package.specifier)
    assert package.specifier.contains(importlib.metadata.version(package.name))


def test_version_is_said_once():
    import trialkit

    assert trialkit.__version__ == PROJECT["version"]
