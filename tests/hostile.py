"""Trial folders and files of new rows as no careful person would make them.

Everything is chosen by a `random.Random`, so that hypothesis can choose (and shrink) and a benchmark can draw very many.
"""

from __future__ import annotations

import csv
import io
import random
import shutil
from pathlib import Path

from conftest import SETTINGS, TABLES
from intake_trials import FEBRUARY, HEADER, OLD

from trialkit.errors import UsageError
from trialkit.logbook.intakes import IntakePlan, plan_intake
from trialkit.logbook.journal import NotAddedError
from trialkit.logbook.taking import take_in
from trialkit.tables import TABLES as DESCRIBED
from trialkit.trial.checks import Checked, check_trial
from trialkit.trial.files import LOG_FILE, read_raw_tables

MORE = {
    "storms": "storm_id,start,end,snow_in\nW1,2030-12-01,2030-12-02,3.5\nW2,2031-01-05T04:00,2031-01-05T11:00,2\n",
    "shifts": (
        "shift_id,storm_id,truck_id,plow_position,start,end,odometer_start_mi,odometer_end_mi,blade_down_mi\n"
        "H1,W1,T1,front,2030-12-01T05:00,2030-12-01T11:00,40110,40150,20\n"
        "H2,W1,T2,front,2030-12-01T05:00,2030-12-01T11:00,40210,40250,20\n"
    ),
    "material": "shift_id,material,quantity_ton,unit_price_usd\nH1,rock_salt,2.5,76\nH2,brine,,0.1\n",
    "sound": "sound_id,shift_id,task,duration_min,level_dba,exchange_rate_db\nN1,H1,blade_down,30,84.5,3\n",
    "costs": 'item,effective_from,edge_type,amount_usd,per,source\nlabour_regular,2030-07-01,,58,hour,"rate, with benefits"\n',
    "decisions": (
        "when,table,row_key,action,column,old,new,reason,by\n"
        "2031-01-20,wear_readings,S1 | 2031-01-14 | 1 | 1,correct,height_in,5.190,5 3/16,slip,A\n"
    ),
}
CELLS = (
    "", " ", "=1+1", '=cmd|" /C calc"!A0', "+1", "-1", "@x", "5-Mar", "5 3/8", "5⅜", "1e999", "-1e-400", "NaN", "inf", "0x1F",
    "１２", "5,375", "1,234.5", "nonsense", "S1", "S9", "T1", "2031-02-30", "2031-02-10", "10.2.2031", "9999-12-31", "1970-01-01",
    "2031-02-10T25:61", "#REF!", "NULL", "\u202e5", "\u00a05\u00a0", "\ufeff5", "x" * 300, "é" * 40, "'5", "5 \"", "a,b", "a\nb",
    "a\n1,2,3,4", "S1 | 2031-01-14 | 1 | 1", "0", "-0.0", "99999999999999999999", "yes", "plain_steel", "front", "install",
    "\u0000", "\x1b[31m", "\x07", "😀", "..", "../../x", "C:\\x", "<script>", "%s%n", "{0}",
)  # fmt: skip
BYTES = (
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b'"',
    b"\r",
    b"\n",
    b"\x80",
    b"\xe9",
    b",",
    b";",
    b"\t",
    b"\x1a",
    b"'",
    b"=",
    b"\xf0\x9f",
)
LINE_ENDS = ("\n", "\r\n", "\r")
ENCODINGS = ("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-32")
OLD_NAMES = (*TABLES, *MORE)


def rows_of(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def bent(choose: random.Random, rows: list[list[str]], often: int = 3) -> list[list[str]]:
    """Rows with some cells, rows and columns that should not be."""
    for _ in range(choose.randrange(often)):
        kind = choose.randrange(9)
        at = choose.randrange(len(rows))
        place = choose.randrange(max(len(rows[at]), 1))
        if kind <= 3 and rows[at]:
            rows[at][place] = choose.choice(CELLS)
        elif kind == 4:
            rows.insert(at, list(rows[choose.randrange(len(rows))]))
        elif kind == 5 and len(rows) > 1:
            del rows[at]
        elif kind == 6:
            rows[at] = rows[at][:place] if choose.randrange(2) else [*rows[at], *["x"] * (1 + place)]
        elif kind == 7:
            name = choose.choice(("mine", "", "height_mm", "station", "row", "date", "note", "a b"))
            for number, row in enumerate(rows):
                row.append(name if number == 0 else choose.choice(CELLS[:12]))
        elif kind == 8:
            for row in rows:
                if place < len(row):
                    del row[place]
    return rows


def written(choose: random.Random, rows: list[list[str]]) -> bytes:
    """The rows as a CSV file in some encoding, with some line ends and quotation marks."""
    text = io.StringIO()
    quoting = choose.choice((csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC))
    csv.writer(text, lineterminator=choose.choice(LINE_ENDS[:2]), quoting=quoting).writerows(rows)
    data = text.getvalue().encode(choose.choice(ENCODINGS), "replace")
    return data.rstrip(b"\r\n") if choose.randrange(4) == 0 else data


def damaged(choose: random.Random, data: bytes) -> bytes:
    """The bytes with a few of them lost, doubled or replaced."""
    for _ in range(choose.randrange(1, 4)):
        at = choose.randrange(len(data) + 1)
        data = data[:at] + choose.choice(BYTES) + data[at + choose.randrange(3) :]
    return data


def write_hostile_trial(choose: random.Random, folder: Path, *, harm: bool = True) -> Path:
    """A trial folder; with `harm=False` only its way of writing is odd."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    tables = {name: rows_of(text) for name, text in {**TABLES, **MORE}.items()}
    victims = [name for name in OLD_NAMES if choose.randrange(4) == 0] if harm else []
    for name, rows in tables.items():
        if name in MORE and choose.randrange(2) == 0 and not (name == "storms" and "shifts" in victims):
            continue
        data = written(choose, bent(choose, rows) if name in victims else rows)
        if name in victims and choose.randrange(4) == 0:
            data = damaged(choose, data)
        if harm and choose.randrange(40) == 0:
            continue
        (folder / f"{name}.csv").write_bytes(data)
    settings = SETTINGS.encode()
    if harm and choose.randrange(12) == 0:
        settings = damaged(choose, settings)
    (folder / "trial.toml").write_bytes(settings)
    if harm and choose.randrange(12) == 0:
        (
            folder
            / choose.choice(("x.csv", "trial.xlsx", ".logbook_journal", "storms.csv", "intake_log.csv"))
        ).write_bytes(choose.choice((b"", b"PK\x03\x04", b"{}", b"a,b\n1,2\n", b"\xff" * 50)))
    return folder


def new_rows(choose: random.Random) -> tuple[str, list[list[str]]]:
    """A table and rows of it: some new, some known, some that say something else."""
    name = choose.choice(("wear_readings", "wear_readings", *DESCRIBED))
    if name == "wear_readings":
        lines = [HEADER, *FEBRUARY, OLD, choose.choice((OLD.replace("5.190", "5.2"), FEBRUARY[0], OLD))]
        return name, rows_of("\n".join(lines))
    text = {**TABLES, **MORE}.get(name)
    rows = rows_of(text) if text else [list(DESCRIBED[name].names), ["x"] * len(DESCRIBED[name].names)]
    again = [list(row) for row in rows[1:3]]
    for row in again:
        row[0] = row[0] + choose.choice(("", "b", "2"))
    return name, rows + again


def write_hostile_source(choose: random.Random, folder: Path) -> Path:
    """A CSV file or workbook of new rows."""
    folder.mkdir(parents=True, exist_ok=True)
    name, rows = new_rows(choose)
    rows = bent(choose, rows, often=4)
    if choose.randrange(4) == 0:
        return _workbook(choose, folder / "rows.xlsx", name, rows)
    path = folder / f"{name}.csv"
    data = written(choose, rows)
    path.write_bytes(damaged(choose, data) if choose.randrange(6) == 0 else data)
    return path


def _workbook(choose: random.Random, path: Path, name: str, rows: list[list[str]]) -> Path:
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = Workbook()
    book.active.title = name
    for row in rows:
        book.active.append([ILLEGAL_CHARACTERS_RE.sub("?", cell) or None for cell in row])
    if choose.randrange(3) == 0:
        book.create_sheet("dictionary").append(["=1+1", "x"])
    book.save(path)
    return path


# ---------------------------------------------------------------- what must hold
def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.name: path.read_bytes()
        for path in folder.iterdir()
        if path.is_file() and path.name != ".logbook_lock"
    }


def require_checked(folder: Path) -> Checked:
    """Check a folder; nothing is changed, nothing is lost, and everything can be told."""
    before = contents(folder)
    checked = check_trial(folder)
    assert contents(folder) == before, "a reader changed the folder"
    said = checked.text()
    assert all(sign.isprintable() or sign == "\n" for sign in said)
    assert len(checked.frame()) == len(checked.problems)
    assert "<script>" not in checked._repr_html_()
    draft = checked.draft
    raw = read_raw_tables(folder)
    for name, table in raw.tables.items():
        read = len(draft.frames[name]) + len(draft.excluded.get(name, ()))
        assert read == len(table.frame), f"{name}: {read} of {len(table.frame)} rows"
    return checked


def require_taken_in(
    folder: Path,
    source: Path,
    *,
    accept_clean: bool,
    add_columns: bool = False,
    earlier: Checked | None = None,
) -> str:
    """Take rows in; all or nothing, nothing overwritten, every accepted row there exactly once. What became of it."""
    before, given = contents(folder), source.read_bytes()
    earlier = earlier or check_trial(folder)
    n_before = {name: len(table.frame) for name, table in read_raw_tables(folder).tables.items()}
    try:
        plan = plan_intake(source, folder, accept_clean=accept_clean, add_columns=add_columns)
        if not plan.may_be_added:
            assert plan.errors and contents(folder) == before
            return "refused"
        taken = take_in(plan, by="A")
    except (UsageError, NotAddedError) as error:
        assert str(error) and contents(folder) == before, "a refusal changed the folder"
        return "refused"
    assert source.read_bytes() == given
    _require_nothing_overwritten(plan, before, contents(folder), add_columns)
    raw = read_raw_tables(folder)
    for table in plan.tables:
        n_rows = len(table.incoming.rows)
        assert n_rows == table.n_added + table.n_there + len(table.rejected), "a row is nowhere"
        n_after = len(raw.tables[table.name].frame) if table.name in raw.tables else 0
        assert n_after == n_before.get(table.name, 0) + table.n_added, "not every accepted row is there once"
    if plan.n_rejected:
        assert accept_clean and taken.rejects is not None and taken.rejects.exists()
        taken.rejects.unlink()
    known = {(problem.code, problem.file, problem.row) for problem in earlier.problems}
    after = check_trial(folder).problems if plan.n_added else ()
    new = [p for p in after if p.stops and (p.code, p.file, p.row) not in known]
    assert not new, f"the trial has new errors: {new}"
    again = plan_intake(source, folder, accept_clean=True, add_columns=add_columns)
    assert again.n_added == 0, "a row would be added again"
    return "added" if plan.n_added else "nothing new"


def _require_nothing_overwritten(
    plan: IntakePlan, before: dict[str, bytes], after: dict[str, bytes], add_columns: bool
) -> None:
    grown = {table.growth.target.path.name: table for table in plan.tables if table.growth.positions}
    assert set(after) - set(before) <= {LOG_FILE, *grown}
    for name, content in before.items():
        if name in grown and grown[name].growth.target.rewritten is not None:
            assert add_columns
        elif name in grown or name == LOG_FILE:
            assert after[name].startswith(content), f"{name} was overwritten"
        else:
            assert after[name] == content, f"{name} was changed"
