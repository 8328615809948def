"""Trial folders with lives of every kind, made from a few words: what the words and figures of lives must bear.

`Made` holds the tables as rows; `write` gives a folder that the check finds clean. Wear is exact straight lines, so the
truth is known: `rate` inches per 1,000 miles at each station.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path

from conftest import write_trial

SETTINGS = """\
trial_id = "lives"
title = "Lives"
agency = "Town of Brenmoor"
season = "2030-31"
reference_edge_type = "{reference}"
"""
START = dt.date(2030, 11, 20)


@dataclass
class Made:
    """Rows of a trial's tables, filled by `edge_type` and `carry`."""

    reference: str = "plain_steel"
    settings: str = ""
    edge_types: list[str] = field(
        default_factory=lambda: ["edge_type,label,new_height_in,usable_depth_in,sections_n,replaced_as"]
    )
    trucks: dict[tuple[str, str], str] = field(default_factory=dict)
    edge_sets: list[str] = field(default_factory=lambda: ["set_id,edge_type,unit_price_usd"])
    events: list[str] = field(
        default_factory=lambda: ["set_id,truck_id,plow_position,date,event,station,counter_mi,reason"]
    )
    readings: list[str] = field(
        default_factory=lambda: ["set_id,date,station,height_in,counter_mi,resolution_in,baseline"]
    )

    def edge_type(
        self, name: str, label: str = "", depth: float = 2.0, replaced_as: str = "set", sections: int = 3
    ) -> Made:
        """Add an edge type."""
        self.edge_types.append(f"{name},{label},6,{depth},{sections},{replaced_as}")
        return self

    def carry(
        self, truck: str, kind: str, rates: tuple[float, ...], *, position: str = "front", miles: tuple[int, ...] = (0, 200, 400),
        end: str = "", reason: str = "", price: str = "500", name: str = "", day: int = 0, counter: int = 100,
        swaps: dict[int, str] | None = None, step: float = 0.001,
    ) -> Made:  # fmt: skip
        """Put a set on a truck, read it at so many miles, and perhaps take it off; `swaps` changes sections half-way."""
        name = name or f"{kind}-{truck}-{position}-{day}"
        self.trucks[truck, position] = f"{truck},{position}"
        self.edge_sets.append(f"{name},{kind},{price}")
        self.events.append(f"{name},{truck},{position},{START + dt.timedelta(day)},install,,{counter},new")
        worn = [0.0] * len(rates)
        before = 0
        for k, ran in enumerate(miles):
            when = START + dt.timedelta(day + 14 * k)
            worn = [old + rate * (ran - before) / 1000 for old, rate in zip(worn, rates, strict=True)]
            before = ran
            self._read(name, when, worn, counter + ran, step, "yes" if k == 0 else "no")
            if k == len(miles) // 2:
                for station, why in (swaps or {}).items():
                    changed = when + dt.timedelta(1)
                    self.events.append(
                        f"{name},{truck},{position},{changed},section_swap,{station},{counter + ran},{why}"
                    )
                    worn[station - 1] = 0.0
                    self._read(name, changed, worn, counter + ran, step, "yes", only=station)
        if end:
            self.events.append(f"{name},{truck},{position},{when},{end},,{counter + miles[-1]},{reason}")
        return self

    def _read(
        self,
        name: str,
        when: dt.date,
        worn: list[float],
        counter: int,
        step: float,
        baseline: str,
        only: int = 0,
    ) -> None:
        for station, gone in enumerate(worn, 1):
            if only in (0, station):
                height = round((6 - gone) / step) * step
                self.readings.append(f"{name},{when},{station},{height:.4f},{counter},{step},{baseline}")

    def write(self, folder: Path) -> Path:
        """The trial folder."""
        return write_trial(
            folder,
            settings=SETTINGS.format(reference=self.reference) + self.settings,
            edge_types=_text(self.edge_types),
            trucks=_text(["truck_id,plow_position", *self.trucks.values()]),
            edge_sets=_text(self.edge_sets),
            set_events=_text(self.events),
            wear_readings=_text(self.readings),
        )


def _text(rows: list[str]) -> str:
    return "\n".join(rows) + "\n"


def two_types(depth: float = 1.0, **other: object) -> Made:
    """Plain steel and carbide insert declared, nothing on a truck yet."""
    return (
        Made(**other)
        .edge_type("plain_steel", "plain steel")
        .edge_type("carbide_insert", "carbide insert", depth)
    )
