"""The report as one file: text, tables, plots and the script that draws them.

Rule: the page asks nothing of the network. Its own policy forbids every request and every script
but the two whose fingerprints it names, so that text which got past the escaping could do nothing.
"""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from importlib.resources import files

from groundstation.report.braking_section import braking_section
from groundstation.report.incident_section import incident_section
from groundstation.report.link_section import link_section
from groundstation.report.markup import Child, Markup, joined, tag
from groundstation.report.plots import data_block
from groundstation.report.section import Section
from groundstation.report.session_section import sheet_section, strips_section
from groundstation.report.shock_section import shock_section, shocks_words
from groundstation.report.speed_section import speed_section
from groundstation.report.words import CAUTION, Telling, number, place
from groundstation.report.yaw_section import yaw_section
from groundstation.wording import clock_text, printable

_FOLDER = files("groundstation.report") / "page"


def page(telling: Telling) -> str:
    """Return the whole file."""
    sections = _sections(telling)
    plots = [plot for each in sections for plot in each.plots]
    body = joined(
        _head(telling),
        *(each.body for each in sections),
        _foot(telling),
        data_block(plots),
        _licence(),
        *(_script(name) for name in ("uplot.js", "report.js")),
    )
    return f"<!DOCTYPE html>\n{_document(telling, body)}\n"


def _sections(telling: Telling) -> list[Section]:
    speed, end = speed_section(telling), incident_section(telling)
    # After a crash nobody asks first how fast it was.
    first = [end, speed] if telling.analysis.incident else [speed, end]
    rest = (link_section, yaw_section, shock_section, braking_section)
    return [
        *first,
        *(make(telling) for make in rest),
        strips_section(telling),
        sheet_section(telling),
    ]


def _document(telling: Telling, body: Markup) -> Markup:
    styles = [_text("uplot.css"), _text("report.css")]
    scripts = [_text("uplot.js"), _text("report.js")]
    policy = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; "
        f"script-src {' '.join(map(_fingerprint, scripts))}; "
        f"style-src {' '.join(map(_fingerprint, styles))}"
    )
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=policy),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("title", f"{telling.vehicle}: {telling.sheet.file}"),
        *(Markup(f"<style>{each}</style>") for each in styles),
    )
    return tag("html", head, tag("body", body), lang="en")


def _head(telling: Telling) -> Markup:
    sheet, analysis = telling.sheet, telling.analysis
    when = f"{sheet.started:%Y-%m-%d %H:%M}" if sheet.started else "no date"
    count = len(analysis.passes)
    parts = [when, clock_text(sheet.duration_s), f"{count} pass{'' if count == 1 else 'es'}"]
    parts.append(sheet.file)
    return joined(
        tag("h1", telling.vehicle),
        tag("p", " · ".join(parts), class_="under"),
        tag("p", "Simulated and invented: no real car was driven.", class_="invented")
        if sheet.invented
        else None,
        _verdict(telling),
        _lead(telling),
        tag(
            "p",
            "Drag across a plot to zoom, double-click to see all of it again; plots of the same "
            "time move together.",
            class_="under hint",
        ),
        tag("noscript", tag("p", "The plots need scripts; text and tables are complete without.")),
    )


def _verdict(telling: Telling) -> Markup | None:
    incident = telling.analysis.incident
    if incident is None:
        return None
    return tag(
        "p",
        tag("strong", "Ended badly: "),
        f"{incident.reason}. {incident.order_words[0].upper()}{incident.order_words[1:]}.",
        class_="verdict bad",
    )


def _lead(telling: Telling) -> Markup | None:
    analysis, unit = telling.analysis, telling.unit
    cells: list[Markup] = []
    if analysis.fastest is not None and analysis.fastest.speed is not None:
        beside = f"pass {analysis.fastest.span.number}, 95 %"
        cells.append(_figure("peak", telling.peak(analysis.fastest.speed), str(unit), beside))
    mean = analysis.two_way
    if mean is not None:
        value = telling.speed_with_error(mean.by_time_mps, 1.96 * mean.by_time_sigma_mps)
        over = (
            f"over {mean.first.distance_m:g} m, passes "
            f"{mean.first.pass_number} and {mean.second.pass_number}"
        )
        cells.append(_figure("two directions", value, str(unit), over))
    lowest = [one.lowest for one in analysis.passes if one.lowest is not None]
    if lowest:
        worst = min(lowest, key=lambda each: each.margin_db)
        where = f"at {place(worst.along_m)}" if worst.along_m is not None else ""
        cells.append(_figure("lowest margin", number(worst.margin_db), "dB", where))
    yaws = [one.yaw_rate_abs_dps for one in analysis.passes if one.yaw_rate_abs_dps is not None]
    if yaws:
        cells.append(_figure("largest yaw rate", number(max(yaws), 0), "deg/s", ""))
    if any(one.shocks for one in analysis.passes):
        cells.append(_figure("hardest shock", *_shock(telling)))
    return tag("dl", *cells, class_="lead") if cells else None


def _shock(telling: Telling) -> tuple[str, str, str]:
    words, _, where = shocks_words(telling).partition(" g")
    return words, "g", where.strip()


def _figure(name: str, value: str, unit: str, beside: str) -> Markup:
    return tag(
        "div",
        tag("dt", name),
        tag(
            "dd",
            f"{value} ",
            tag("small", unit),
            tag("span", beside, class_="beside") if beside else None,
        ),
    )


def _foot(telling: Telling) -> Markup:
    version = telling.sheet.software_version
    made: list[Child] = [f"Recorded by groundstation {version}."] if version else []
    return tag(
        "footer",
        tag("ul", *(tag("li", each) for each in CAUTION)),
        tag("p", *made, class_="under"),
    )


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def _fingerprint(text: str) -> str:
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode('ascii')}'"


def _script(name: str) -> Markup:
    return Markup(f"<script>{_text(name)}</script>")


def _licence() -> Markup:
    text = printable(_text("uplot.LICENSE").replace("\n", " ")).replace("--", "- -")
    return Markup(f"<!-- The plots are drawn by uPlot. {text} -->")
