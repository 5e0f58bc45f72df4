"""Text becomes HTML that it cannot break."""

from __future__ import annotations

from groundstation.report.markup import Markup, joined, long_table, table, tag


def test_text_is_escaped_and_markup_is_not() -> None:
    assert tag("p", "a < b & c", tag("b", '"x"')) == "<p>a &lt; b &amp; c<b>&quot;x&quot;</b></p>"


def test_attributes_are_escaped() -> None:
    assert tag("a", href='"><script>', class_="x", bare=True, no=False) == (
        '<a href="&quot;&gt;&lt;script&gt;" class="x" bare></a>'
    )


def test_an_attribute_may_be_called_name() -> None:
    assert tag("meta", name="viewport", content="x") == '<meta name="viewport" content="x">'


def test_control_characters_are_shown_to_be_there() -> None:
    assert "\x1b" not in joined("a\x1b[2Jb\u202ec")
    assert "\u202e" not in joined("a\x1b[2Jb\u202ec")


def test_a_note_keeps_its_lines() -> None:
    assert joined("one\ntwo") == "one\ntwo"


def test_a_table_escapes_its_cells() -> None:
    made = table(["<h>"], [["<r>", "<c>", Markup("<i>ours</i>")]], caption="<k>")
    for part in ("<h>", "<r>", "<c>", "<k>"):
        assert part not in made
    assert "<i>ours</i>" in made


def test_a_long_table_folds_the_rest_away() -> None:
    rows: list[list[str | None]] = [[str(number)] for number in range(5)]
    assert "<details>" not in long_table(["n"], rows, most=5)
    made = long_table(["n"], rows, most=3)
    assert "<summary>2 more</summary>" in made
    assert made.index(">2</th>") < made.index("<details>") < made.index(">3</th>")
