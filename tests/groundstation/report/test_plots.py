"""The figures that the plots are drawn from."""

from __future__ import annotations

import json
from base64 import b64decode
from html.parser import HTMLParser

import numpy as np

from groundstation.report.plots import Plot, Series, Stroke, data_block, figure
from tests.groundstation.report.tellings import HOSTILE


class Scripts(HTMLParser):
    """Collects what stands in script elements, as a browser finds their ends."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.others: list[str] = []
        self.inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag == "script"
        if self.inside:
            self.found.append("")
        else:
            self.others.append(tag)

    def handle_endtag(self, tag: str) -> None:
        self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.found[-1] += data


def plot() -> Plot:
    x = np.array([0.0, 1.5, 2.0])
    return Plot(
        key="a-plot",
        told="in a test",
        x_name="s",
        y_name="speed, m/s",
        series=[Series(HOSTILE, x, np.array([1.0, np.nan, -2.5]), "speed")],
        moments=[Stroke(1.0, HOSTILE)],
    )


def test_a_hostile_name_stays_inside_the_block() -> None:
    block = data_block([plot()])
    scripts = Scripts()
    scripts.feed(f"{block}<p>after</p>")
    assert len(scripts.found) == 1
    assert scripts.others == ["p"]
    (read,) = json.loads(scripts.found[0])
    assert read["series"][0]["name"] == HOSTILE
    assert read["moments"][0] == {"at": 1.0, "name": HOSTILE, "ink": "quiet"}


def test_numbers_come_back_and_unknown_stays_unknown() -> None:
    scripts = Scripts()
    scripts.feed(data_block([plot()]))
    (series,) = json.loads(scripts.found[0])[0]["series"]
    values = np.frombuffer(b64decode(series["y"]), "<f4")
    assert values[[0, 2]].tolist() == [1.0, -2.5]
    assert np.isnan(values[1])


def test_who_cannot_see_a_plot_is_told_what_it_shows() -> None:
    assert 'aria-label="Speed, m/s in a test"' in figure(plot())
