"""One part of the page: its HTML and the plots that it has room for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from groundstation.report.markup import Child, Markup, joined, tag
from groundstation.report.plots import Plot, figure


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the page."""

    body: Markup
    plots: tuple[Plot, ...] = ()


def section(heading: str, *parts: Child | Plot, key: str) -> Section:
    """Return a part under a heading; a plot among the parts gets its place there.

    Args:
        heading: Of the part.
        *parts: What is in it, in order; None is left out.
        key: Name of the part in links; letters and hyphens.
    """
    plots = tuple(each for each in parts if isinstance(each, Plot))
    shown: Sequence[Child] = [figure(each) if isinstance(each, Plot) else each for each in parts]
    return Section(joined(tag("section", tag("h2", heading), *shown, id=key)), plots)


def missing(reason: str) -> Markup:
    """Return the line that says why something is not there."""
    return tag("p", f"Left out: {reason}.", class_="missing")
