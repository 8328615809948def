"""What was agreed before the season: the section `[plan]` of `trial.toml`.

Answers: what was to be measured, by which rule decided, and when looked at?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

Text = Annotated[str, Field(min_length=1)]
Number = Annotated[float, Field(strict=True)]


class Section(BaseModel):
    """A section of `trial.toml`: no key that is not a setting, nothing changed after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Plan(Section):
    """What was agreed before the season."""

    primary_measure: Literal["wear", "life", "cost"] = Field(
        default="life", description="the measure that decides: wear, life or cost"
    )
    looks: tuple[dt.date | Number, ...] = Field(
        default=(),
        description="agreed days of the looks at the results, or shares of the season between 0 and 1",
    )
    spending: Literal["obrien_fleming", "pocock"] = Field(
        default="obrien_fleming",
        description="how the allowed error is shared among the looks: obrien_fleming (next to none early) or pocock (about "
        "the same at each)",
    )
    season_start: dt.date | None = Field(
        default=None,
        description="first day of the season, such as 2030-11-01; until then no set is on a truck, and the looks are counted from it",
    )
    season_end: dt.date | None = Field(
        default=None, description="day on which the season is expected to end, such as 2031-04-15"
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
    pool_seasons: Literal["never", "when_alike", "always"] = Field(
        default="never",
        description="whether several winters are taken together: never, when_alike (unless they differ) or always",
    )
    no_worse_than_ratio: float | None = Field(
        default=None,
        strict=True,
        gt=1,
        description="most sets per mile, as a multiple of the reference's, that still count as no worse; none by default",
    )
    saving_judged_by: Literal["interval", "estimate"] = Field(
        default="interval",
        description="what must reach the smallest worthwhile saving: the whole interval, or the best estimate of a saving whose "
        "interval leaves out no difference",
    )
    decision_rule: str = Field(default="", description="the rule in words, as agreed before the season")
    replacement_rule: str = Field(
        default="",
        description="when a set comes off, in words; the plan prints a plain rule where none is given",
    )
    exclusion_rule: str = Field(
        default="",
        description="when a reading is left out, in words; the plan prints a plain rule where none is given",
    )
    design: Literal["parallel", "rotated"] = Field(
        default="parallel",
        description="parallel: each truck keeps its edge type; rotated: each truck carries every type for a part of the season",
    )
    stations: int = Field(
        default=5, strict=True, ge=1, le=60, description="stations at which each edge is read"
    )
    repeats: int = Field(
        default=2, strict=True, ge=1, le=50, description="readings of each station on one occasion"
    )
    reading_every_mi: float = Field(
        default=120.0,
        strict=True,
        gt=0,
        le=10_000,
        description="miles with the blade down from one reading of an edge to the next [mi]",
    )
    reading_error_in: float = Field(
        default=0.03,
        strict=True,
        ge=0,
        le=1,
        description="standard deviation of one reading [in], assumed until there is a gauge study; common practice, no source",
    )
    reading_step_in: float = Field(
        default=0.0625, strict=True, ge=0, le=1, description="step to which heights are read [in]"
    )
    truck_spread_pct: float = Field(
        default=25.0,
        strict=True,
        ge=0,
        le=200,
        description="assumed spread of the wear of one edge type from truck to truck, as a share of its mean [%]; common "
        "practice, no source",
    )
    reference_life_mi: float = Field(
        default=400.0,
        strict=True,
        gt=0,
        le=100_000,
        description="miles with the blade down that a set of the reference is expected to last [mi]; common practice, no source",
    )
    season_miles_mi: float = Field(
        default=1500.0,
        strict=True,
        gt=0,
        le=100_000,
        description="expected miles of a season for a truck that is not in fleet_plan [mi]; common practice, no source",
    )
    power_pct: float = Field(
        default=80.0,
        strict=True,
        gt=50,
        lt=100,
        description="share of such trials in which a difference of the stated size is to be shown [%]; common practice, no source",
    )

    @field_validator("season_end")
    @classmethod
    def _ends_after_it_starts(cls, season_end: dt.date | None, info: ValidationInfo) -> dt.date | None:
        start = info.data.get("season_start")
        if season_end is not None and start is not None and season_end <= start:
            raise ValueError(f"a day after season_start, {start}")
        return season_end

    @field_validator("looks")
    @classmethod
    def _shares_lie_between_0_and_1(cls, looks: tuple[dt.date | float, ...]) -> tuple[dt.date | float, ...]:
        if any(isinstance(look, float) and not 0 < look <= 1 for look in looks):
            raise ValueError("a share of the season lies above 0 and at most 1")
        return looks
