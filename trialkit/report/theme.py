"""How figures look: colors, markers, dashes and the print style.

Answers: how is this edge type drawn, in every figure alike, so that it can be told apart in color, in gray print and by a
color-blind reader?

Every color has a contrast of at least 4.5 on white, which colored text needs (WCAG 2.2, success criterion 1.4.3), and the
smallest distance between any two of the six stays above 15 in CAM02-UCS for full protan, deutan and tritan vision. Brown
and blue are equally dark, so the marker and the dash carry the difference in gray print.

Figures are drawn at the width at which they are printed and are never rescaled. Nothing here changes matplotlib's global
settings: `print_style` is a context manager, and the savers use it themselves.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLORS = ("#8a4b08", "#005a9c", "#3b3b3b", "#d23c69", "#874bff", "#6b1000")
MARKERS = ("o", "s", "^", "D", "v", "P")
DASHES: tuple[Any, ...] = (
    "-",
    (0, (5, 1.6)),
    (0, (1.2, 1.2)),
    (0, (6, 1.5, 1.2, 1.5)),
    (0, (3, 1, 1, 1, 1, 1)),
    (0, (9, 2)),
)

INK = "#1d2328"
QUIET_INK = "#4c5660"
GRID = "#d9dde1"
PAPER = "#ffffff"

WIDTH_IN = 6.5
"""Width of every figure: letter paper less one-inch margins. [in]"""
BODY_PT = 9.0
SMALL_PT = 8.5
TITLE_PT = 10.0
PRINT_DPI = 200
FONT = "DejaVu Sans"
_SALT = "trialkit"
_AXIS_PADDING_IN = 0.3

_RC: dict[str, Any] = {
    "figure.facecolor": PAPER,
    "figure.dpi": 100,
    "figure.constrained_layout.use": True,
    "savefig.facecolor": PAPER,
    "savefig.bbox": None,
    "font.family": [FONT],
    "font.size": BODY_PT,
    "text.color": INK,
    "text.usetex": False,
    "text.parse_math": False,  # a "$" in the name of a truck is a dollar sign
    "axes.titlesize": TITLE_PT,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlecolor": INK,
    "axes.titlepad": 8.0,
    "axes.labelsize": BODY_PT,
    "axes.labelcolor": INK,
    "axes.edgecolor": QUIET_INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.facecolor": PAPER,
    "axes.axisbelow": True,
    "axes.grid": False,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "grid.color": GRID,
    "grid.linewidth": 0.8,
    "xtick.color": QUIET_INK,
    "ytick.color": QUIET_INK,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "legend.fontsize": SMALL_PT,
    "legend.frameon": False,
    "lines.linewidth": 1.6,
    "lines.markersize": 6.0,
    "svg.fonttype": "path",
    "svg.hashsalt": _SALT,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class EdgeStyle:
    """How one edge type is drawn."""

    color: str
    marker: str
    dash: Any


def edge_styles(edge_types: Iterable[str]) -> dict[str, EdgeStyle]:
    """The style of each edge type, in the order given: the reference first.

    Parameters
    ----------
    edge_types : iterable of str
        Edge types, the reference first; repeats count once.

    Returns
    -------
    dict of EdgeStyle
        By edge type. From the seventh on, colors come round again with the next marker, so that no two of the first
        36 look alike.
    """
    names = list(dict.fromkeys(str(name) for name in edge_types))
    styles = {}
    for position, name in enumerate(names):
        turn, place = divmod(position, len(COLORS))
        other = (place + turn) % len(MARKERS)
        styles[name] = EdgeStyle(COLORS[place], MARKERS[other], DASHES[other])
    return styles


@contextmanager
def print_style() -> Iterator[None]:
    """Print style for everything drawn or saved inside it; matplotlib's own settings come back afterwards."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()  # whatever a user's own settings say; the backend stays as it is
        mpl.rcParams.update(_RC)  # type: ignore[arg-type]
        yield


def drawable(text: object, longest: int = 40) -> str:
    """A name as it can be drawn: on one line, cut with an ellipsis, an empty box for a character the font lacks.

    The full name is in the table under the figure.
    """
    words = " ".join(str(text).split())
    words = words if len(words) <= longest else f"{words[: longest - 1].rstrip()}…"
    return "".join(letter if ord(letter) in _glyphs() else "\u25a1" for letter in words)


@cache
def _glyphs() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties(family=[FONT]))).get_charmap())


def keep_label_within(figure: Figure) -> None:
    """Let the label below an axis end with the axis where it is wider than that, so that its words are not cut off.

    Long names of edge types leave little room for the axis, and a label in its middle would run out of the picture.
    """
    figure_width = figure.get_window_extent().width
    for ax in figure.axes:
        label, names = ax.xaxis.label, [tick for tick in ax.get_yticklabels() if tick.get_text()]
        if len(figure.axes) > 1 or not label.get_text() or not names:
            continue
        room = figure_width - max(name.get_window_extent().width for name in names)
        if label.get_window_extent().width > room - figure.dpi * _AXIS_PADDING_IN:
            label.set_horizontalalignment("right")
            label.set_x(1.0)


def contrast_on_paper(color: str) -> float:
    """Contrast ratio of a ``#rrggbb`` color with white.

    Notes
    -----
    (1 + 0.05) / (L + 0.05) with the relative luminance L of WCAG 2.2.

    References
    ----------
    W3C, Web Content Accessibility Guidelines 2.2 (2023), definitions "contrast ratio" and "relative luminance".
    """
    channels = [int(color[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 1.05 / (luminance + 0.05)


def svg_text(figure: Figure) -> str:
    """The figure as SVG with text as paths: the same figure gives the same text."""
    text = _saved(figure, format="svg", metadata={"Date": None, "Creator": None}).decode("utf-8")
    start = text.index("<svg")
    return re.sub(r"[ \t]+\n", "\n", text[start:])


def png_base64(figure: Figure, dpi: int = PRINT_DPI) -> str:
    """The figure as PNG at print resolution, in base64."""
    return base64.b64encode(_saved(figure, format="png", dpi=dpi, metadata={"Software": None})).decode(
        "ascii"
    )


def _saved(figure: Figure, **options: Any) -> bytes:
    """The figure as a file, drawn in print style.

    Left to itself matplotlib lays a figure out for each file anew, and draws everything once more each time to find out.
    """
    import matplotlib as mpl

    buffer = BytesIO()
    with print_style():
        _lay_out(figure)
        mpl.rcParams["figure.constrained_layout.use"] = (
            False  # else it would be laid out again after the first file
        )
        figure.savefig(buffer, **options)
    return buffer.getvalue()


def _lay_out(figure: Figure) -> None:
    """Give every part of the figure its place once and for all."""
    import matplotlib as mpl

    engine = figure.get_layout_engine()
    if engine is None or not figure.axes:
        return
    before = figure.get_dpi()
    figure.set_dpi(PRINT_DPI)  # the finer, the less do whole pixels move a word
    engine.execute(figure)
    figure.set_dpi(before)
    with mpl.rc_context({"figure.constrained_layout.use": False, "figure.autolayout": False}):
        figure.set_layout_engine(
            None
        )  # with one that only holds its place everything would be drawn twice too
