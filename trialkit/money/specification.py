"""A plain specification for a purchase, with properties that can be tested on delivery.

Answers: how is an edge like the one that was tried asked for, without naming a maker?

A specification that names a make shuts out others and does not keep out a worse lot; one with testable properties does. Figures of
the trial are given; what only a certificate can show is asked for and left to be filled in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit import columns as c
from trialkit import display
from trialkit.errors import UsageError, near_match
from trialkit.formatting import counted, number, sentence_case
from trialkit.table_parts import SECTION

PROPERTY, REQUIRED, TEST = "property", "required", "test"
COLUMNS = [PROPERTY, REQUIRED, TEST]
FILL_IN = "____"
"""What is left for the buyer to fill in."""


def specification(
    edge_type: str, edge_types: pd.DataFrame, trucks: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Testable properties of an edge type, for the bid documents.

    Use it as a draft for the purchasing office. Dimensions are those recorded for the type that was tried; hardness, insert depth,
    tolerances and hole pattern are left to be filled in from the certificate of that lot and from the plow's drawing.

    Parameters
    ----------
    edge_type : str
        Type that was tried.
    edge_types : DataFrame
        Columns edge_type, new_height_in, usable_depth_in [in]; sections_n, section_length_in [in], replaced_as, description if there.
    trucks : DataFrame, optional
        Columns plow_position, plow_width_ft [ft]: the plows that are bought for, whose widths have to be covered.

    Returns
    -------
    DataFrame
        property, required, test: one row per property.

    Raises
    ------
    UsageError
        If the type is not in `edge_types`.
    """
    known = [str(kind) for kind in edge_types[c.EDGE_TYPE]]
    if edge_type not in known:
        raise UsageError(
            f'Edge type "{edge_type}" is not in edge_types. {near_match(edge_type, known)}'.rstrip()
        )
    row: Mapping[Any, Any] = edge_types[edge_types[c.EDGE_TYPE].astype(str) == edge_type].to_dict("records")[
        0
    ]
    rows = [
        (
            "Kind",
            _text(row.get(c.DESCRIPTION)) or f"like the lot tried: {edge_type.replace('_', ' ')}",
            "inspection on delivery",
        ),
        (
            "Height, new",
            _length(row[c.NEW_HEIGHT_IN]),
            "measured at each end and in the middle of each section, to the tolerance stated",
        ),
        (
            "Depth that can wear off",
            f"at least {_length(row[c.USABLE_DEPTH_IN])} (of the insert, where there is one)",
            "certificate of the lot; one section of the lot cut open, at the buyer's choice",
        ),
    ]
    if _known(row.get(c.SECTIONS_N)):
        rows.append(("Sections of a set", f"{int(row[c.SECTIONS_N])}", "count on delivery"))
    if _known(row.get(c.SECTION_LENGTH_IN)):
        rows.append(
            (
                "Length of a section",
                _length(row[c.SECTION_LENGTH_IN]),
                "measured on delivery, to the tolerance stated",
            )
        )
    if row.get(c.REPLACED_AS) == SECTION:
        rows.append(
            (
                "Replacement",
                "each section can be taken off and bought by itself",
                "trial mounting of one section",
            )
        )
    rows += [
        (
            "Hardness of the wearing part",
            f"{FILL_IN} (as certified for the lot tried)",
            "certificate of the lot, with the method and scale",
        ),
        ("Hardness of the body", f"{FILL_IN}", "certificate of the lot, with the method and scale"),
        ("Tolerance of height and length", f"{FILL_IN}", "measured on delivery"),
        (
            "Straightness",
            f"gap under a straightedge at most {FILL_IN}",
            "straightedge along each section on delivery",
        ),
        ("Holes", f"to the plow's drawing, number {FILL_IN}", "trial mounting on one plow of each kind"),
        ("Marking", "lot number on each section, readable after mounting", "inspection on delivery"),
        (
            "Acceptance",
            "a lot of which a certificate is missing or a property is not met is not accepted",
            f"{FILL_IN} sections of each lot, drawn by the buyer",
        ),
    ]
    if trucks is not None and c.PLOW_WIDTH_FT in trucks and trucks[c.PLOW_WIDTH_FT].notna().any():
        rows.insert(1, ("Width to be covered", _widths(trucks), "trial mounting"))
    return pd.DataFrame(rows, columns=COLUMNS)


def specification_words(edge_type: str, table: pd.DataFrame, labels: Mapping[str, str]) -> tuple[str, ...]:
    """The specification as paragraphs, with what must be added.

    Parameters
    ----------
    edge_type : str
    table : DataFrame
        From `specification`.
    labels : mapping
    """
    who = labels.get(edge_type, edge_type.replace("_", " "))
    said = [
        f"{sentence_case(who)}: the properties below describe the lot that was tried. Any make that meets them may be offered.",
        *(f"{row[PROPERTY]}: {row[REQUIRED]}. Shown by: {row[TEST]}." for row in table.to_dict("records")),
        f"Where a line reads {FILL_IN}, the figure comes from the certificate of the lot tried or from the plow's drawing; a property "
        "without a figure cannot be tested and should be left out.",
        "Edges are heavy and sharp: packing and lifting points are to be stated. Local purchasing rules govern.",
    ]
    return tuple(said)


def _widths(trucks: pd.DataFrame) -> str:
    counts = trucks[c.PLOW_WIDTH_FT].dropna().value_counts().sort_index()
    parts = [f"{_feet(width)} on {counted(int(n), 'plow')}" for width, n in counts.items()]
    return "; ".join(parts)


def _feet(width: Any) -> str:
    return _shortest(width, "ft")


def _length(value: Any) -> str:
    if not _known(value):
        return FILL_IN
    return _shortest(value, "in")


def _shortest(value: Any, unit: str) -> str:
    """A size as it was recorded: no more digits than it has, and three at most."""
    text = number(display.value(float(value), unit), 3)
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {display.unit(unit)}"


def _known(value: Any) -> bool:
    return value is not None and math.isfinite(float(value))


def _text(value: Any) -> str:
    return str(value) if isinstance(value, str) else ""
