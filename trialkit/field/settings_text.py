"""A commented `trial.toml`: every setting with its default and its meaning.

Answers: what may be agreed before the season, and what holds if nothing is?

The words come from the descriptions in `settings`, so that the file never says anything else than the dictionary does.
"""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from trialkit.settings import Settings, section_of

WIDTH = 100
"""Characters in a line of the file."""
HEAD = (
    "Settings of the trial. The settings without a default must be given; every other one stands here with its default. "
    "Text after # is a comment. Agree on [plan] and sign it off before the first storm."
)
MUST_BE_GIVEN = "must be given"
_LEFT_OUT = "left out by default"


def settings_text(given: Mapping[str, Any] | None = None) -> str:
    """The text of a new `trial.toml`.

    Use it to start a trial. It is not read as it stands: settings that must be given and are not among `given` are blank,
    and `trialkit check` asks for them.

    Parameters
    ----------
    given : mapping, optional
        Values by the name of the setting, such as ``{"trial_id": "north_2031"}``; for the settings outside of sections.

    Returns
    -------
    str
        TOML that ends in a line break.
    """
    lines = [*_comment(HEAD), ""]
    lines += _section_lines(Settings, given or {})
    return "\n".join(lines).rstrip("\n") + "\n"


def toml_value(value: Any) -> str:
    """A value as TOML writes it.

    Examples
    --------
    >>> toml_value('a "rule"'), toml_value((0.5, 1.0)), toml_value(True)
    ('"a \\\\"rule\\\\""', '[0.5, 1.0]', 'true')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{"".join(_escaped(sign) for sign in value)}"'
    if isinstance(value, (dt.date, dt.datetime)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return (
            "{ " + ", ".join(f"{toml_value(str(key))} = {toml_value(v)}" for key, v in value.items()) + " }"
        )
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    return repr(value)


def _escaped(sign: str) -> str:
    if sign in '"\\':
        return f"\\{sign}"
    return sign if sign.isprintable() else f"\\U{ord(sign):08x}"


def _comment(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent="# ", subsequent_indent="# ", break_long_words=False)


def _section_lines(section: type[BaseModel], given: Mapping[str, Any], prefix: str = "") -> Iterable[str]:
    """The settings of a section, those that are sections themselves last, as TOML wants them."""
    deeper = []
    for name, field in section.model_fields.items():
        inner = section_of(field.annotation)
        if inner is None:
            yield from [*_setting_lines(name, field, given), ""]
        else:
            deeper.append((name, field, inner))
    for name, field, inner in deeper:
        place = f"{prefix}{name}"
        if isinstance(field.get_default(call_default_factory=True), tuple):
            yield from [*_example_lines(place, field, inner), ""]
            continue
        yield from ["", f"[{place}]", *_comment(inner.__doc__ or ""), ""]
        yield from _section_lines(inner, {}, f"{place}.")


def _setting_lines(name: str, field: FieldInfo, given: Mapping[str, Any]) -> list[str]:
    about = field.description or ""
    if name in given:
        return [*_comment(about), f"{name} = {toml_value(given[name])}"]
    if field.is_required():
        return [*_comment(f"{about}; {MUST_BE_GIVEN}"), f'{name} = ""']
    default = field.get_default(call_default_factory=True)
    if default is None:
        return [*_comment(about if "default" in about else f"{about}; {_LEFT_OUT}"), f"# {name} ="]
    return [*_comment(about), f"{name} = {toml_value(_plain(default))}"]


def _plain(value: Any) -> Any:
    """A default without models in it."""
    if isinstance(value, BaseModel):
        return value.model_dump(exclude_none=True)
    return value


def _example_lines(place: str, field: FieldInfo, inner: type[BaseModel]) -> list[str]:
    """A list of sections: none by default, its settings as comments."""
    lines = [*_comment(f"{field.description}; {_LEFT_OUT}"), f"# [[{place}]]"]
    for name, own in inner.model_fields.items():
        lines += textwrap.wrap(
            f"{name} = ...  ({own.description})", WIDTH, initial_indent="#   ", subsequent_indent="#     "
        )
    return lines
