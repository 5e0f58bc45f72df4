"""What counts as a change of set-up."""

from __future__ import annotations

from groundstation.analysis.setup_changes import changes_between, flat_sheet


def test_flat() -> None:
    sheet = {"rear": {"toe_deg": 1.50, "camber": [1, 2.0]}, "gyro": {"on": True}, "note": "wet"}
    assert flat_sheet(sheet) == {
        "rear.toe_deg": "1.5",
        "rear.camber": "[1, 2]",
        "gyro.on": "yes",
        "note": "wet",
    }
    assert flat_sheet({"a": 4}) == flat_sheet({"a": 4.0})
    assert flat_sheet({"a": {}}) == {}


def test_no_change() -> None:
    assert changes_between([]) == []
    assert changes_between([{"a": "1"}, {"a": "1"}]) == []


def test_changed_alone() -> None:
    (change,) = changes_between([{"a": "1", "b": "x"}, {"a": "2", "b": "x"}, {"a": "1", "b": "x"}])
    assert (change.keys, change.before, change.after) == (("a",), ("1",), ("2",))
    assert (change.rows_before, change.rows_after) == ((0, 2), (1,))
    assert change.also_varied == ()
    assert change.words == "a 1 to 2"


def test_changed_together_is_one_change() -> None:
    (change,) = changes_between([{"a": "1", "b": "x"}, {"a": "2", "b": "y"}])
    assert change.keys == ("a", "b")
    assert change.words == "a 1 to 2, b x to y"


def test_varied_in_part() -> None:
    sheets = [
        {"a": "1", "b": "x"},
        {"a": "1", "b": "x"},
        {"a": "2", "b": "x"},
        {"a": "2", "b": "y"},
    ]
    first, second = changes_between(sheets)
    assert (first.keys, first.also_varied) == (("a",), ("b",))
    assert (second.keys, second.also_varied) == (("b",), ("a",))


def test_dealt_out_alike_is_no_share() -> None:
    sheets = [{"a": a, "b": b} for a in "12" for b in "xy"]
    assert [change.also_varied for change in changes_between(sheets)] == [(), ()]


def test_three_values_in_order_of_time() -> None:
    first, second = changes_between([{"a": "2"}, {"a": "1"}, {"a": "3"}])
    assert first.words == "a 2 to 1"
    assert second.words == "a 1 to 3"


def test_a_sheet_that_does_not_say() -> None:
    (change,) = changes_between([{"a": "1"}, {}, {"a": "2"}])
    assert (change.rows_before, change.rows_after) == ((0,), (2,))


def test_changed_together_here_but_not_everywhere() -> None:
    sheets = [{"a": a, "b": b} for a, b in ("1x", "2y", "3y")]
    first, second, third = changes_between(sheets)
    assert (first.words, first.changed_with) == ("a 1 to 2", ("b",))
    assert (second.words, second.changed_with) == ("a 2 to 3", ())
    assert (third.words, third.changed_with, third.also_varied) == ("b x to y", ("a",), ())
