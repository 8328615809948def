"""The settings of a trial: what `trial.toml` may hold.

Answers: what is this trial called, which edge type is the reference, what was agreed before the season?

Every setting but the first five has a default, printed in ``data_demo/README.md`` from the descriptions here. A key that
is not a setting is a problem with a near-match suggestion, never ignored.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    BaseModel,
    Field,
    StringConstraints,
    ValidationError,
    ValidationInfo,
    field_validator,
)
from pydantic_core import PydanticCustomError

from trialkit.errors import Problem, near_match
from trialkit.formatting import listed
from trialkit.settings_plan import Plan, Section, Text

FILE_NAME = "trial.toml"
NOISE_CRITERIA = ("osha_pel", "osha_action", "niosh_rel", "eu_lower_action", "eu_upper_action", "eu_limit")
"""Names of the noise criteria that every trial knows; `cab.criteria` says what they are and where they come from."""
CUSTOM = "custom"
"""Type of a finding that brings its own words."""


class OwnCriterion(Section):
    """A criterion for noise that the tool does not know by name."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*$", max_length=40)] = Field(
        description="short name: letters, digits, hyphens and underscores; the report prints it with spaces"
    )
    criterion_level_dba: float = Field(
        strict=True, gt=0, le=140, description="steady level that gives a dose of 100% in 8 hours [dBA]"
    )
    exchange_rate_db: float = Field(
        strict=True, ge=1, le=10, description="rise in level that halves the time [dB]"
    )
    threshold_dba: float | None = Field(
        default=None, strict=True, ge=0, le=140, description="levels below it are not counted [dBA]"
    )
    citation: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)] = Field(
        description="document, clause and year from which it comes"
    )


class Noise(Section):
    """How noise is looked at."""

    shift_length_h: float = Field(
        default=12.0, strict=True, gt=0, le=24, description="length of a storm shift [h]"
    )
    drift_limit_db: float = Field(
        default=1.0,
        strict=True,
        gt=0,
        le=20,
        description="largest difference of the calibrations before and after a sound sample that passes without a warning "
        "[dB]; 1 is common practice, no source; ISO 9612:2009, 12.2 (from memory), asks for 0.5",
    )
    criterion: tuple[OwnCriterion, ...] = Field(
        default=(), description="criteria of your own, each begun by a line [[noise.criterion]]"
    )
    criteria: tuple[str, ...] = Field(
        default=(),
        description=f"criteria to report, by name: {', '.join(NOISE_CRITERIA)} or your own; empty reports them all",
    )

    @field_validator("criterion")
    @classmethod
    def _own_names_are_new(cls, criterion: tuple[OwnCriterion, ...]) -> tuple[OwnCriterion, ...]:
        names = [own.name for own in criterion]
        taken = [name for name in dict.fromkeys(names) if name in NOISE_CRITERIA or names.count(name) > 1]
        if taken:
            raise _said(taken, "names that no other criterion has", "Choose another name.")
        return criterion

    @field_validator("criteria")
    @classmethod
    def _names_are_known(cls, criteria: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
        twice = [name for name in dict.fromkeys(criteria) if criteria.count(name) > 1]
        if twice:
            raise _said(twice, "each criterion once", "Name it once.")
        if "criterion" not in info.data:
            return criteria  # the criteria of one's own are wrong themselves
        known = [*NOISE_CRITERIA, *(own.name for own in info.data["criterion"])]
        unknown = [name for name in criteria if name not in known]
        if unknown:
            hints = [near_match(name, known) for name in unknown]
            fix = (
                " ".join(hint for hint in hints if hint) or "Correct the name, or add a [[noise.criterion]]."
            )
            raise _said(unknown, ", ".join(known), fix)
        return criteria


def _said(names: list[str], allowed: str, fix: str) -> PydanticCustomError:
    """A finding about names in a list, with its own words."""
    found = listed([_shown(name) for name in names])
    return PydanticCustomError(CUSTOM, "not allowed", {"found": found, "allowed": allowed, "fix": fix})


class Cost(Section):
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
    service_level: float = Field(
        default=0.9,
        strict=True,
        ge=0.5,
        lt=1,
        description="probability with which the sets ordered for next season are to suffice",
    )
    busiest_share: float = Field(
        default=0.5,
        strict=True,
        gt=0,
        le=1,
        description="share of the planned miles that the busiest trucks plow, for the alternative of priority routes only",
    )


class Material(Section):
    """How material use is read and shown."""

    treated_basis: Literal["lane_mile", "two_lane_mile", "lane_km", "two_lane_km"] = Field(
        default="lane_mile",
        description="what one unit of lane_miles_treated is: lane_mile, two_lane_mile (a mile of road whose two lanes are both "
        "treated counts once), lane_km or two_lane_km; everything is converted to lane-miles",
    )
    rate_basis: Literal["lane_mile", "two_lane_mile"] = Field(
        default="lane_mile", description="basis on which rates are printed: lane_mile or two_lane_mile"
    )
    policy_rate_lb: float | None = Field(
        default=None,
        strict=True,
        gt=0,
        le=5000,
        description="application rate of the town's own policy, quoted per mile of policy_rate_basis, printed beside what was "
        "spread [lb]; none by default",
    )
    policy_rate_basis: Literal["lane_mile", "two_lane_mile"] = Field(
        default="lane_mile", description="basis on which policy_rate_lb is quoted: lane_mile or two_lane_mile"
    )
    typical_severity: float | None = Field(
        default=None,
        strict=True,
        ge=0,
        le=1,
        description="mean storm severity index of a typical season, to which season savings are brought; by default the mean of "
        "the trial's own storms",
    )


class Settings(Section):
    """All settings of one trial."""

    trial_id: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*$", max_length=64)] = Field(
        description="short name of the trial: letters, digits, hyphens and underscores"
    )
    title: Text = Field(description="title of the report")
    agency: Text = Field(description="who runs the trial")
    season: Text = Field(description="the winter, such as 2030-31")
    reference_edge_type: Text = Field(description="edge type with which the others are compared")
    units: Literal["us", "metric"] = Field(
        default="us",
        description="units in which the report shows results: us or metric; the tables that it saves stay in us units",
    )
    currency: str = Field(
        default="USD", pattern=r"^[A-Z]{3}$", description="currency of every amount, as a three-letter code"
    )
    confidence_level: float = Field(
        default=0.95, strict=True, ge=0.5, le=0.999, description="confidence level of every interval"
    )
    seed: int = Field(default=1, strict=True, ge=0, description="seed of everything that is drawn at random")
    earlier_seasons: tuple[Text, ...] = Field(
        default=(),
        description="folders of earlier winters of this trial, inside the trial folder, each a trial folder of its own",
    )
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
        if path.exists() and not path.is_file():
            fix = "Rename it, and put the settings there as a file."
            return None, [Problem("not-a-file", FILE_NAME, fix=fix)]
        raw = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        fix = "Put a trial.toml beside the tables; data_demo/trial.toml shows one."
        return None, [Problem("file-missing", FILE_NAME, fix=fix)]
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
    path, name, deeper = _place(item["loc"])
    if item["type"] == CUSTOM:
        own = item["ctx"]
        return Problem(
            "setting-invalid",
            FILE_NAME,
            column=name,
            found=own["found"],
            allowed=own["allowed"],
            fix=own["fix"],
        )
    if item["type"] == "extra_forbidden":
        section = _section(path[:-1])
        known = list(section.model_fields) if section is not None else []
        fix = near_match(path[-1], known) or f"The settings here are: {', '.join(known)}."
        return Problem("setting-unknown", FILE_NAME, column=name, fix=fix)
    if item["type"] == "missing":
        return Problem(
            "setting-missing",
            FILE_NAME,
            column=name,
            allowed=_description(path),
            fix=f"Add {path[-1]} = ...",
        )
    return Problem(
        "setting-invalid",
        FILE_NAME,
        column=name,
        found=_shown(item["input"]),
        allowed=_allowed(path, item, deeper),
        fix=f"Fill in {name}." if item["input"] == "" else f"Correct {name}.",
    )


def _place(loc: tuple[str | int, ...]) -> tuple[list[str], str, bool]:
    """Keys that lead to a finding, how they are printed, and whether it lies deeper, in one item of a list.

    The sections of a list are counted from 1: ``noise.criterion[1].citation``.
    """
    path: list[str] = []
    printed = ""
    for part in loc:
        if isinstance(part, str):
            path.append(part)
            printed += f".{part}" if printed else part
        elif _section(path) is not None:
            printed += f"[{part + 1}]"
        else:
            return path, printed, True
    return path, printed, False


def _shown(value: Any) -> str:
    return (
        f'"{value}"'
        if isinstance(value, str)
        else str(value).lower()
        if isinstance(value, bool)
        else str(value)
    )


def _allowed(path: list[str], item: Mapping[str, Any], deeper: bool) -> str:
    """What may stand there: what the setting means, then what pydantic asks for, if that is plain English."""
    meaning = _description(path)
    message = str(item["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    asked = message[:1].lower() + message[1:]
    if item["type"] == "model_type":
        words = f"[{path[-1]}]" if path[:-1] == [] else f"[[{'.'.join(path)}]]"
        return f"a section {words} with its settings"
    if item["type"] in ("tuple_type", "string_pattern_mismatch", "string_too_short") or deeper:
        return meaning or asked
    return f"{meaning} ({asked})" if meaning else asked


def _description(path: list[str]) -> str:
    section = _section(path[:-1])
    field = section.model_fields.get(path[-1]) if section is not None else None
    return (field.description or "") if field is not None else ""


def _section(path: list[str]) -> type[BaseModel] | None:
    """The section under these keys, of which there may be several; None if there is a plain setting or nothing."""
    section: type[BaseModel] | None = Settings
    for part in path:
        field = section.model_fields.get(part) if section is not None else None
        section = section_of(field.annotation) if field is not None else None
    return section


def section_of(annotation: Any) -> type[BaseModel] | None:
    """The section that a setting holds, or of which it holds a list; None for a plain setting."""
    for kind in (annotation, *get_args(annotation)[:1]):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None
