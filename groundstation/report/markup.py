"""HTML that cannot be forgotten to be escaped: text is escaped unless it is `Markup` already.

Owns the making of elements. Whatever comes from a car, a file or a person goes in as a plain
string and comes out harmless.
"""

from __future__ import annotations

from html import escape

from groundstation.wording import printable

VOID = ("br", "meta")


class Markup(str):
    """Text that is HTML: made here, never from outside."""

    __slots__ = ()


Child = str | None
"""Markup stays as it is, other text is escaped, None is left out."""


def tag(name: str, /, *children: Child, **attributes: str | bool | None) -> Markup:
    """Return an element.

    Args:
        name: Of the element.
        *children: What is in it.
        **attributes: `class_` is `class`, other underscores are hyphens; True gives a bare one,
            None and False none.
    """
    text = f"<{name}"
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        key = key.rstrip("_").replace("_", "-")
        text += f" {key}" if value is True else f' {key}="{escape(printable(value))}"'
    if name in VOID:
        return Markup(f"{text}>")
    return Markup(f"{text}>{joined(*children)}</{name}>")


def joined(*children: Child) -> Markup:
    """Return parts one after the other."""
    return Markup("".join(_escaped(child) for child in children if child is not None))


def table(heads: list[str], rows: list[list[Child]], *, caption: str | None = None) -> Markup:
    """Return a table; the first column names the rows, the others are figures."""
    head = tag("tr", *(tag("th", each, scope="col") for each in heads))
    body = [
        tag(
            "tr",
            tag("th", row[0] or "", scope="row"),
            *(tag("td", cell if cell is not None else "") for cell in row[1:]),
        )
        for row in rows
    ]
    return tag(
        "div",
        tag(
            "table",
            tag("caption", caption) if caption else None,
            tag("thead", head),
            tag("tbody", *body),
        ),
        class_="wide",
    )


def long_table(
    heads: list[str], rows: list[list[Child]], *, most: int, caption: str | None = None
) -> Markup:
    """Return a table whose rows beyond the first `most` are folded away, to be opened."""
    shown = table(heads, rows[:most], caption=caption)
    if len(rows) <= most:
        return shown
    more = tag("summary", f"{len(rows) - most} more")
    return joined(shown, tag("details", more, table(heads, rows[most:])))


def _escaped(text: str) -> str:
    if isinstance(text, Markup):
        return text
    # Line breaks of a note stay; everything else that does not print is shown to be there.
    return escape("\n".join(printable(line) for line in text.split("\n")))
