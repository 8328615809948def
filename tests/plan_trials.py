"""Small trial folders before their season, for the tests of the plan."""

from __future__ import annotations

from pathlib import Path

from conftest import SETTINGS, TABLES, write_trial

from trialkit.report import plan_study
from trialkit.trial import unstarted

HEADS = {name: TABLES[name].splitlines()[0] + "\n" for name in ("edge_sets", "set_events", "wear_readings")}
TRUCKS = "truck_id,plow_position,plow_width_ft,plow_type,block\n" + "".join(
    f"T{n},front,{10 + n % 2},trip_edge,{'north' if n <= 4 else 'south'}\n" for n in range(1, 9)
)
MILES = "truck_id,plow_position,miles_low_mi,miles_mid_mi,miles_high_mi\n" + "".join(
    f"T{n},front,500,{1000 + 100 * n},3000\n" for n in range(1, 9)
)
GAUGE = "piece,station,reader,repeat,height_in\n" + "".join(
    f"G{piece},1,R{reader},{repeat},{5 - piece / 2 + 0.01 * reader + 0.02 * (repeat % 2)}\n"
    for piece in (1, 2, 3, 4) for reader in (1, 2) for repeat in (1, 2, 3)
)  # fmt: skip


def plan_settings(**plan: object) -> str:
    """The settings with a section [plan]; each value as TOML writes it."""
    return SETTINGS + "[plan]\n" + "".join(f"{name} = {value}\n" for name, value in plan.items())


def folder_to_plan(folder: Path, **tables: str | None) -> Path:
    """Eight front plows in two blocks, two edge types, nothing installed yet."""
    return write_trial(folder, **{**HEADS, "trucks": TRUCKS, **tables})


def planned(folder: Path, seed: str = "", **tables: str | None) -> plan_study.TrialPlan:
    """The plan of such a folder."""
    checked = unstarted.check_trial_to_plan(folder_to_plan(folder, **tables))
    return plan_study.plan_trial(checked.require_clean(), checked.begun_on, seed)
