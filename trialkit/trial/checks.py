"""What is wrong with a trial folder, all of it at once, and the trial that is left when nothing is.

Answers: may this trial be analysed, and if not, which cells are to be looked at?

`check_trial` reads a folder and applies every rule; nothing is repaired. *Errors* are impossible and stop the analysis,
*warnings* are doubtful and are printed in the report. `Checked.require_clean` gives the `Trial` that the analyses are fed
from.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import Problem, TrialDataError, UsageError, near_match, sorted_problems
from trialkit.formatting import counted
from trialkit.settings import FILE_NAME, Material, Noise, Settings
from trialkit.tables import TABLES
from trialkit.trial import problem_text
from trialkit.trial.carriedchecks import check_carried
from trialkit.trial.costchecks import check_costs
from trialkit.trial.drivechecks import check_odometers, check_spans
from trialkit.trial.findings import Source, sources_of
from trialkit.trial.heightchecks import check_heights, check_types, repeatability_of
from trialkit.trial.intake import DATED_BY, Draft, read_draft
from trialkit.trial.materialchecks import check_material
from trialkit.trial.milechecks import check_miles
from trialkit.trial.references import check_references
from trialkit.trial.schemas import check_cells, check_keys
from trialkit.trial.setchecks import check_labels, check_reference, check_sets
from trialkit.trial.soundchecks import check_samples
from trialkit.trial.timeline import read_timeline

SETTINGS, PROBLEMS, LAST_DAY, EARLIER = "settings", "problems", "last day", "earlier seasons"
EVERYTHING = "everything"
"""What may be read of a trial beside its tables."""
BEARS_ON_ALL = (SETTINGS, "decisions", "edge_types")
"""What every analysis reads, whichever tables it asks for: decisions change them, and edge types order them."""
ABSENT = "not recorded"
_ALLOWED_EARLIER = "a folder inside the trial folder that is a trial folder of its own"


@dataclass(frozen=True, eq=False)
class Trial:
    """A trial without errors: the only thing that analyses are fed from.

    Attributes
    ----------
    folder : Path
        Where it was read from.
    settings : Settings
        The settings.
    frames : mapping
        Every table by name, typed, in canonical units; `trial["storms"]` gives a copy.
    present : frozenset of str
        Tables that are there.
    files, hashes : mapping
        Table -> file as problems print it; file -> SHA-256 of its content.
    exclusions : DataFrame
        The decisions that were carried out.
    excluded : mapping
        Table -> rows that decisions took out.
    all_problems : tuple of Problem
        The warnings; `problems` and `problems_of` give them.
    earlier_trials : tuple of Trial
        The earlier winters; `earlier` gives them.
    confidence_level : float
        Level at which differences are judged: the agreed one of the settings, or that of a planned look.
    reads : set of str
        What has been asked of this trial so far; `digest` says whether it is still the same.
    """

    folder: Path
    settings: Settings
    frames: Mapping[str, pd.DataFrame] = field(repr=False)
    present: frozenset[str]
    files: Mapping[str, str] = field(repr=False)
    hashes: Mapping[str, str] = field(repr=False)
    exclusions: pd.DataFrame = field(repr=False)
    excluded: Mapping[str, pd.DataFrame] = field(repr=False)
    all_problems: tuple[Problem, ...] = field(repr=False)
    earlier_trials: tuple[Trial, ...] = field(repr=False, default=())
    confidence_level: float = 0.95
    reads: set[str] = field(repr=False, default_factory=lambda: set(BEARS_ON_ALL))

    def __getitem__(self, name: str) -> pd.DataFrame:
        """A copy of one table; a table that is not there has no rows."""
        if name not in self.frames:
            raise KeyError(f'There is no table "{name}". {near_match(name, TABLES)}'.strip())
        self.reads.add(name)
        return self.frames[name].copy()

    def has(self, name: str) -> bool:
        """Whether a table is there and has rows."""
        self.reads.add(name)
        return name in self.present and len(self.frames[name]) > 0

    @property
    def problems(self) -> tuple[Problem, ...]:
        """The warnings."""
        self.reads.add(PROBLEMS)
        return self.all_problems

    def problems_of(self, *names: str) -> tuple[Problem, ...]:
        """The warnings about some tables."""
        self.reads.update(f"{PROBLEMS}/{name}" for name in names)
        return self._problems_in(names)

    @property
    def earlier(self) -> tuple[Trial, ...]:
        """The trials of earlier winters, in the order of the settings."""
        self.reads.add(EARLIER)
        return self.earlier_trials

    @property
    def last_data_date(self) -> dt.date:
        """The last day of which the trial has a record of its own."""
        self.reads.add(LAST_DAY)
        return last_data_date(self.frames)

    def digest(self, read: str) -> str:
        """SHA-256 that changes whenever what was read under that name changes; a table that is not there says so.

        Parameters
        ----------
        read : str
            A name out of `reads` (a table, the settings, the warnings, those about one table, the last day), or
            "everything".

        Notes
        -----
        A table is as its file is. In a workbook, where all tables share one file, it is as its cells are.
        """
        if read == SETTINGS:
            return self.hashes[FILE_NAME]
        if read == EVERYTHING:
            return hashlib.sha256(repr(sorted(self.hashes.items())).encode()).hexdigest()
        if read == LAST_DAY:
            return last_data_date(self.frames).isoformat()
        if read == EARLIER:
            hashes = [sorted(trial.hashes.items()) for trial in self.earlier_trials]
            return hashlib.sha256(repr(hashes).encode()).hexdigest()
        if read.startswith(PROBLEMS):
            chosen = self._problems_in([read.partition("/")[2]]) if "/" in read else self.all_problems
            return _sha256(problem_text.frame(chosen))
        if read not in self.present:
            return ABSENT
        return self.hashes.get(self.files[read]) or _sha256(self.frames[read])

    def _problems_in(self, names: Collection[str]) -> tuple[Problem, ...]:
        files = {self.files[name] for name in names}
        return tuple(problem for problem in self.all_problems if problem.file in files)


def _sha256(frame: pd.DataFrame) -> str:
    return hashlib.sha256(frame.to_csv().encode()).hexdigest()


def last_data_date(frames: Mapping[str, pd.DataFrame]) -> dt.date:
    """The last day in the tables of things that happened.

    Parameters
    ----------
    frames : mapping
        Tables by name.

    Raises
    ------
    ValueError
        If none of them has a date.
    """
    days = [
        frames[name][column].max()
        for name, column in DATED_BY.items()
        if name in frames and len(frames[name])
    ]
    known = [day for day in days if pd.notna(day)]
    if not known:
        raise ValueError("The trial has no dated row.")
    return max(known).date()


@dataclass(frozen=True, eq=False)
class Checked:
    """What was read from a trial folder and everything that is wrong with it.

    Attributes
    ----------
    draft : Draft
        What was read.
    problems : tuple of Problem
        Errors and warnings in reading order, those of earlier winters last.
    earlier : tuple of Checked
        What was read from the folders of earlier winters.
    """

    draft: Draft = field(repr=False)
    problems: tuple[Problem, ...]
    earlier: tuple[Checked, ...] = field(repr=False, default=())

    @property
    def n_errors(self) -> int:
        """How many problems stop the analysis."""
        return sum(problem.stops for problem in self.problems)

    @property
    def n_warnings(self) -> int:
        """How many problems only have to be read."""
        return len(self.problems) - self.n_errors

    @property
    def is_clean(self) -> bool:
        """Whether there is no error."""
        return self.n_errors == 0

    def frame(self) -> pd.DataFrame:
        """The problems as a table: severity, code, file, row, key, column, found, allowed, fix."""
        return problem_text.frame(self.problems)

    def sentence(self) -> str:
        """The one line that says how things stand."""
        if not self.problems:
            return "The checks found nothing wrong with the trial data."
        if self.is_clean:
            return f"The trial data have {counted(self.n_warnings, 'warning')} and no error; the analysis can be run."
        warnings = f" and {counted(self.n_warnings, 'warning')}" if self.n_warnings else ""
        them = "it is" if self.n_errors == 1 else "they are"
        return f"The trial data have {counted(self.n_errors, 'error')}{warnings}; nothing is computed until {them} mended."

    def text(self, width: int = 100, *, ascii_only: bool = False) -> str:
        """The problems for a terminal, grouped by file, with the counts at the end.

        Parameters
        ----------
        width : int
            Characters in a line.
        ascii_only : bool
            Whether every other character is replaced, for a terminal that cannot show it.
        """
        return problem_text.text(self.problems, self.sentence(), width, ascii_only)

    def __str__(self) -> str:
        return self.text()

    def _repr_html_(self) -> str:
        return problem_text.html_table(self.problems, self.sentence())

    def require_clean(self, confidence_level: float = 0.0) -> Trial:
        """The trial, if it has no error; from now on results are shown in its units and its currency (see `display`).

        Parameters
        ----------
        confidence_level : float
            Level at which differences are judged, such as that of a planned look; 0 for the one agreed in the settings.

        Raises
        ------
        TrialDataError
            If there is any error; it carries all problems.
        UsageError
            If the level is not between 0.5 and 1.
        """
        settings = self.draft.settings
        if confidence_level and not 0.5 <= confidence_level < 1:
            raise UsageError(
                f"The confidence level is {confidence_level:g}; it lies from 0.5 to below 1, such as 0.95."
            )
        if not self.is_clean or settings is None:
            raise TrialDataError(self.problems)
        earlier = tuple(checked.require_clean(confidence_level) for checked in self.earlier)
        display.use(settings.units, settings.currency)
        draft = self.draft
        of_earlier = {
            f"{name}/{file}": digest
            for name, trial in zip(settings.earlier_seasons, earlier, strict=True)
            for file, digest in trial.hashes.items()
        }
        return Trial(
            folder=draft.folder, settings=settings, frames=MappingProxyType(dict(draft.frames)), present=draft.present,
            files=draft.files, hashes={**draft.hashes, **of_earlier}, exclusions=draft.exclusions, excluded=draft.excluded,
            all_problems=self.problems, earlier_trials=earlier,
            confidence_level=confidence_level or settings.confidence_level,
        )  # fmt: skip


def check_trial(folder: str | Path, through: dt.date | str | None = None) -> Checked:
    """Read a trial folder and apply every rule.

    Use it before anything is computed; it never stops at a problem. `intake.read_draft` reads without the rules.

    Parameters
    ----------
    folder : str or Path
        The trial folder.
    through : date or str, optional
        Last day that is looked at; later rows are left out. A blank text means all.

    Returns
    -------
    Checked
        Everything that is wrong, and the way to the `Trial`.

    Raises
    ------
    UsageError
        If `through` is a text but not a day.
    """
    checked = check_draft(read_draft(folder, through))
    settings = checked.draft.settings
    if settings is None or not settings.earlier_seasons:
        return checked
    found = [_check_earlier(checked.draft.folder, name, settings) for name in settings.earlier_seasons]
    problems = [problem for own, _ in found for problem in own]
    earlier = tuple(other for _, other in found if other is not None)
    seasons = [settings.season, *(other.draft.settings.season for other in earlier if other.draft.settings)]
    for season in dict.fromkeys(seasons):
        if seasons.count(season) > 1:
            fix = "Give every winter its own name in its trial.toml."
            problems.append(
                Problem("setting-invalid", FILE_NAME, column="season", found=f'"{season}" twice', fix=fix)
            )
    return replace(checked, problems=(*checked.problems, *problems), earlier=earlier)


def _check_earlier(folder: Path, name: str, settings: Settings) -> tuple[list[Problem], Checked | None]:
    """What is wrong with the folder of an earlier winter, and what was read of it."""

    def wrong(found: str, fix: str) -> tuple[list[Problem], None]:
        allowed = _ALLOWED_EARLIER
        return [
            Problem(
                "setting-invalid", FILE_NAME, column="earlier_seasons", found=found, allowed=allowed, fix=fix
            )
        ], None

    place = (folder / name).resolve()
    if not place.is_relative_to(folder.resolve()) or place == folder.resolve():
        return wrong(f'"{name}", which lies outside', "Copy that trial folder into this one.")
    if not place.is_dir():
        return wrong(
            f'"{name}", which is not there', "Correct the name, or copy that trial folder into this one."
        )
    checked = check_draft(read_draft(place))
    own = checked.draft.settings
    problems = [replace(problem, file=f"{name}/{problem.file}") for problem in checked.problems]
    if own is not None and own.earlier_seasons:
        more, _ = wrong(f'"{name}", which names earlier winters itself', "Name them all in this trial.toml.")
        problems += more
    if own is not None and own.reference_edge_type != settings.reference_edge_type:
        said = f'"{own.reference_edge_type}" in {name} and "{settings.reference_edge_type}" here'
        fix = "Use one name for the reference in every winter."
        problems.append(
            Problem("setting-invalid", FILE_NAME, column="reference_edge_type", found=said, fix=fix)
        )
    return problems, checked


def check_draft(draft: Draft) -> Checked:
    """Apply every rule to what was read.

    Parameters
    ----------
    draft : Draft
        What was read, with the problems of reading.

    Returns
    -------
    Checked
        Those problems and all others.
    """
    sources = sources_of(draft)
    problems = list(draft.problems)
    doubled: dict[str, frozenset[int]] = {}
    for name, source in sources.items():
        same, doubled[name] = check_keys(source)
        problems += check_cells(source) + same
        if {c.START, c.END} <= set(source.table.names):
            problems += check_spans(source)
    problems += check_references(sources, _unreadable(draft))
    noise = draft.settings.noise if draft.settings is not None else Noise()
    problems += check_samples(sources, noise.drift_limit_db)
    treated = draft.settings.material if draft.settings is not None else Material()
    problems += check_material(sources, treated.treated_basis)
    problems += check_costs(sources, draft.settings.currency if draft.settings is not None else "USD")
    problems += _check_across(draft, sources, doubled)
    return Checked(draft, sorted_problems(_said_once(problems)))


def _check_across(
    draft: Draft, sources: Mapping[str, Source], doubled: Mapping[str, frozenset[int]]
) -> list[Problem]:
    """The rules about sets, heights and miles."""
    types, gauge = sources.get("edge_types"), sources.get("gauge_readings")
    problems = []
    if draft.settings is not None:
        problems += check_reference(
            types, sources.get("edge_sets"), draft.settings.reference_edge_type, FILE_NAME
        )
    if types is not None:
        problems += check_types(types) + check_labels(types)
    line = read_timeline(sources, draft.frames, doubled)
    if line is None:
        return problems + check_odometers(sources)[0]
    found, in_doubt, strayed = check_sets(line, types)
    line = replace(line, in_doubt=in_doubt)
    repeatability_in = repeatability_of(gauge.frame) if gauge is not None else None
    problems += found + check_heights(line, types, repeatability_in)
    line = replace(line, in_doubt=in_doubt | strayed)
    problems += check_carried(line, draft.settings.plan if draft.settings is not None else None)
    odometers, bad_trucks, bad_shifts = check_odometers(sources, line.in_doubt)
    return problems + odometers + check_miles(line, bad_trucks, bad_shifts)


def _said_once(problems: list[Problem]) -> list[Problem]:
    """The problems without doubts about a cell that is an error anyway."""
    wrong = {(problem.file, problem.row, problem.column) for problem in problems if problem.stops}
    return [
        problem
        for problem in problems
        if problem.stops or (problem.file, problem.row, problem.column) not in wrong
    ]


def _unreadable(draft: Draft) -> frozenset[str]:
    """Tables that are in the folder but could not be read."""
    named = {problem.file for problem in draft.problems}
    return frozenset(name for name in TABLES if name not in draft.present and draft.files[name] in named)
