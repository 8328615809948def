"""The settings of a trial: what `trial.toml` may hold.

Answers: what is this trial called, which edge type is the reference, what was agreed before the season?

Every setting but the first five has a default, printed in ``data_demo/README.md`` from the descriptions here. A key that
is not a setting is a problem with a near-match suggestion, never ignored.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping
from itertools import takewhile
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from trialkit.errors import Problem, near_match

FILE_NAME = "trial.toml"

Text = Annotated[str, Field(min_length=1)]
Number = Annotated[float, Field(strict=True)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Plan(_Section):
    """What was agreed before the season."""

    primary_measure: Literal["wear", "life", "cost"] = Field(
        default="life", description="the measure that decides: wear, life or cost"
    )
    looks: tuple[dt.date | Number, ...] = Field(
        default=(),
        description="agreed days of the looks at the results, or shares of the season between 0 and 1",
    )
    run_in_mi: float = Field(
        default=0.0,
        strict=True,
        ge=0,
        description="miles after an install that are left out as running-in [mi]",
    )
    smallest_worthwhile_saving_pct: float = Field(
        default=0.0, strict=True, ge=0, le=100, description="saving below which a change is not worth it [%]"
    )
    decision_rule: str = Field(default="", description="the rule in words, as agreed before the season")

    @field_validator("looks")
    @classmethod
    def _shares_lie_between_0_and_1(cls, looks: tuple[dt.date | float, ...]) -> tuple[dt.date | float, ...]:
        if any(isinstance(look, float) and not 0 < look <= 1 for look in looks):
            raise ValueError("a share of the season lies above 0 and at most 1")
        return looks


class Noise(_Section):
    """How noise is looked at."""

    shift_length_h: float = Field(
        default=12.0, strict=True, gt=0, le=24, description="length of a storm shift [h]"
    )
    criteria: tuple[str, ...] = Field(default=(), description="criteria to report; empty reports them all")


class Cost(_Section):
    """How cost is looked at."""

    discount_rate: float = Field(
        default=0.03, strict=True, ge=0, lt=1, description="real discount rate per year, as a fraction"
    )
    horizon_years: int = Field(
        default=10, strict=True, ge=1, le=50, description="years that the cost comparison spans"
    )
    analysis_year: int | None = Field(
        default=None, strict=True, ge=1900, le=2200, description="year whose prices are used"
    )


class Material(_Section):
    """How material use is shown."""

    rate_basis: Literal["lane_mile", "two_lane_mile"] = Field(
        default="lane_mile", description="basis on which rates are printed: lane_mile or two_lane_mile"
    )


class Settings(_Section):
    """All settings of one trial."""

    trial_id: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*$", max_length=64)] = Field(
        description="short name of the trial: letters, digits, hyphens and underscores"
    )
    title: Text = Field(description="title of the report")
    agency: Text = Field(description="who runs the trial")
    season: Text = Field(description="the winter, such as 2030-31")
    reference_edge_type: Text = Field(description="edge type with which the others are compared")
    units: Literal["us", "metric"] = Field(
        default="us", description="units in which results are shown: us or metric"
    )
    currency: str = Field(
        default="USD", pattern=r"^[A-Z]{3}$", description="currency of every amount, as a three-letter code"
    )
    confidence_level: float = Field(
        default=0.95, strict=True, ge=0.5, lt=1, description="confidence level of every interval"
    )
    seed: int = Field(default=1, strict=True, ge=0, description="seed of everything that is drawn at random")
    plan: Plan = Field(default_factory=Plan)
    noise: Noise = Field(default_factory=Noise)
    cost: Cost = Field(default_factory=Cost)
    material: Material = Field(default_factory=Material)


def read_settings(path: Path) -> tuple[Settings | None, list[Problem]]:
    """Read and check `trial.toml`.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    settings : Settings or None
        None if anything is wrong.
    problems : list of Problem
        Everything that is wrong with it.
    """
    try:
        raw = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        fix = "Put a trial.toml beside the tables; data_demo/trial.toml shows one."
        return None, [Problem("file-missing", FILE_NAME, fix=fix)]
    except IsADirectoryError:
        return None, [
            Problem("not-a-file", FILE_NAME, fix="Rename the folder and put the settings file there.")
        ]
    except OSError as error:
        return None, [
            Problem(
                "file-unreadable", FILE_NAME, found=error.strerror or str(error), fix="Check its permissions."
            )
        ]
    except UnicodeDecodeError:
        return None, [Problem("file-unreadable", FILE_NAME, found="not UTF-8", fix="Save it as UTF-8 text.")]
    except RecursionError:
        return None, [
            Problem(
                "file-unreadable",
                FILE_NAME,
                found="brackets nested too deeply",
                allowed="TOML",
                fix="Remove them.",
            )
        ]
    except tomllib.TOMLDecodeError as error:
        fix = 'Write each setting as key = value, with text in "quotes".'
        return None, [Problem("file-unreadable", FILE_NAME, found=str(error), allowed="TOML", fix=fix)]
    except ValueError:
        fix = "Write the number with fewer digits."
        return None, [
            Problem(
                "file-unreadable",
                FILE_NAME,
                found="a number with thousands of digits",
                allowed="TOML",
                fix=fix,
            )
        ]
    return check_settings(raw)


def check_settings(raw: Mapping[str, Any]) -> tuple[Settings | None, list[Problem]]:
    """Settings from the parsed content of `trial.toml`, or everything that is wrong with it."""
    try:
        return Settings.model_validate(raw), []
    except ValidationError as error:
        return None, list({(p.code, p.column): p for p in map(_problem, error.errors())}.values())


def _problem(item: Mapping[str, Any]) -> Problem:
    """One pydantic finding in the words of the analyst."""
    path = [str(part) for part in takewhile(lambda part: isinstance(part, str), item["loc"])]
    name = ".".join(path)
    if item["type"] == "extra_forbidden":
        known = _known_keys(path[:-1])
        fix = near_match(path[-1], known) or f"The settings here are: {', '.join(known)}."
        return Problem("setting-unknown", FILE_NAME, column=name, fix=fix)
    if item["type"] == "missing":
        field = Settings.model_fields[path[0]]
        return Problem(
            "setting-missing",
            FILE_NAME,
            column=name,
            allowed=field.description or "",
            fix=f"Add {name} = ...",
        )
    found = _shown(item["input"])
    return Problem(
        "setting-invalid",
        FILE_NAME,
        column=name,
        found=found,
        allowed=_allowed(path, item),
        fix=f"Correct {name}.",
    )


def _shown(value: Any) -> str:
    return (
        f'"{value}"'
        if isinstance(value, str)
        else str(value).lower()
        if isinstance(value, bool)
        else str(value)
    )


def _allowed(path: list[str], item: Mapping[str, Any]) -> str:
    """What may stand there: what the setting means, then what pydantic asks for, if that is plain English."""
    meaning = _description(path)
    message = str(item["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    asked = message[:1].lower() + message[1:]
    if item["type"] == "model_type":
        return f"a section [{path[-1]}] with its settings"
    if item["type"] == "string_pattern_mismatch" or len(path) < len(item["loc"]):
        return meaning or asked
    return f"{meaning} ({asked})" if meaning else asked


def _description(path: list[str]) -> str:
    model: Any = Settings
    for part in path[:-1]:
        model = model.model_fields[part].annotation
    field = model.model_fields.get(path[-1])
    return (field.description or "") if field is not None else ""


def _known_keys(path: list[str]) -> list[str]:
    if not path:
        return list(Settings.model_fields)
    section = Settings.model_fields[path[0]].annotation
    return list(section.model_fields) if isinstance(section, type) and issubclass(section, BaseModel) else []
