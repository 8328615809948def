"""Fonts of the printed documents, and which characters they have.

Answers: what is printed for a character that none of our fonts can draw?

IBM Plex Sans sets the text and Noto Emoji the pictographs; both lie in ``fonts`` with their licenses (SIL Open Font
License 1.1). DejaVu Sans, which comes with matplotlib and letters the figures too, adds Greek, Cyrillic, Hebrew, Arabic
and symbols. A character that none of them has is printed as an empty box, and a document says so: `missing_characters`.
"""

from __future__ import annotations

import importlib.util
import unicodedata
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

FAMILIES = ("IBM Plex Sans", "DejaVu Sans", "Noto Emoji")
"""In the order in which they are asked for a character."""
FONTS = Path(__file__).parent / "fonts"
BOX = "\u25a1"
DESCRIBED = frozenset({"alt"})
"""Keys whose text is read aloud and never drawn, so that it may hold any character."""

_NEVER_ALLOWED = {"\ufeff": "\u2060"}
"""A byte order mark inside a text, and the character that took over its meaning; PDF/UA forbids the mark."""
_LAYOUT = frozenset("\n\r\t")
_INVISIBLE = (
    (0x00AD, 0x00AD), (0x061C, 0x061C), (0x200B, 0x200F), (0x202A, 0x202E), (0x2060, 0x2064), (0x2066, 0x206F),
    (0xFE00, 0xFE0F), (0xE0020, 0xE007F), (0xE0100, 0xE01EF),
)  # fmt: skip
"""Joiners, directions and variants: nothing is drawn for them, so no font need have them (from Unicode's property
Default_Ignorable_Code_Point)."""
_DRAWN_FILES = ("IBMPlexSans_400Regular.ttf", "NotoEmoji_400Regular.ttf")


def font_folders() -> tuple[Path, ...]:
    """Folders of the font files: ours, and matplotlib's for DejaVu Sans."""
    return FONTS, _matplotlib_fonts()


def drawable(data: Any) -> Any:
    """The same data with an empty box for every character that no font has.

    Parameters
    ----------
    data : mapping, sequence, str or anything else
        What a template is given. Text under the keys `DESCRIBED` stays as it is.
    """
    if isinstance(data, str):
        return "".join(_shown(letter) for letter in data)
    if isinstance(data, Mapping):
        return {
            name: _speakable(value) if name in DESCRIBED else drawable(value) for name, value in data.items()
        }
    if isinstance(data, (list, tuple)):
        return [drawable(value) for value in data]
    return data


def missing_characters(data: Any) -> tuple[str, ...]:
    """Characters of the data that are printed as an empty box, each once, in order of their codes."""
    return tuple(
        sorted({letter for text in _texts(data) for letter in text if _shown(letter) == BOX != letter})
    )


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, Mapping):
        for name, value in data.items():
            if name not in DESCRIBED:
                yield from _texts(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            yield from _texts(value)


@cache
def _shown(letter: str) -> str:
    if letter in _NEVER_ALLOWED:
        return _NEVER_ALLOWED[letter]
    code = ord(letter)
    invisible = any(first <= code <= last for first, last in _INVISIBLE)
    drawn = code in _covered() and unicodedata.category(letter) != "Cc"
    return letter if drawn or invisible or letter in _LAYOUT else BOX


def _speakable(text: Any) -> Any:
    """Text for a description: half of a character pair cannot be written to a file at all."""
    return text.encode("utf-8", "replace").decode("utf-8") if isinstance(text, str) else text


def _matplotlib_fonts() -> Path:
    found = importlib.util.find_spec("matplotlib")
    place = Path(found.origin or "").parent if found else Path()
    return place / "mpl-data" / "fonts" / "ttf"


@cache
def _covered() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    files = [*(FONTS / name for name in _DRAWN_FILES), _matplotlib_fonts() / "DejaVuSans.ttf"]
    return frozenset().union(*(FT2Font(str(file)).get_charmap() for file in files))
