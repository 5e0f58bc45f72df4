"""Channels without a place in the standard table get kinds that hold their values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.errors import SessionFileError
from groundstation.importing.own_kinds import FIELDS_A_KIND, decimals_of, own_kinds
from protocol import Sender, standard_table
from protocol.receiver import Receiver

TABLE = standard_table()


@given(
    st.lists(
        st.floats(allow_nan=False, allow_infinity=False, width=32) | st.just(float("nan")),
        min_size=1,
    )
)
def test_values_come_back_within_half_a_step(values: list[float]) -> None:
    column = np.array(values, np.float64)
    text, kinds = own_kinds({"tyre_c": column}, TABLE)
    table = TABLE.extended(text, "test")
    assert kinds == {"own_1": ["tyre_c"]}
    field = table.field("tyre_c")
    assert field is not None
    sender, receiver = Sender(table), Receiver(table)
    for value in values:
        (event,) = receiver.receive_data(sender.encode("own_1", {"tyre_c": value}, 0), None)
        back = event.values["tyre_c"]  # type: ignore[union-attr]
        if np.isnan(value):
            assert back is None
        else:
            within = min(max(value, field.min), field.max)
            assert back == pytest.approx(within, abs=0.51 / field.per_unit)


def test_decimals_are_as_many_as_are_needed() -> None:
    assert decimals_of(np.array([1.0, 2.0, np.nan])) == 0
    assert decimals_of(np.array([1.25, 2.0])) == 2
    assert decimals_of(np.array([1 / 3])) == 6
    assert decimals_of(np.array([1e6 + 1 / 3])) == 3
    assert decimals_of(np.array([np.nan])) == 0


def test_many_channels_take_several_kinds_and_not_without_end() -> None:
    columns = {f"c_{n}": np.array([1.0]) for n in range(FIELDS_A_KIND + 1)}
    text, kinds = own_kinds(columns, TABLE)
    assert [len(members) for members in kinds.values()] == [FIELDS_A_KIND, 1]
    taken = TABLE.extended(text, "test")
    again, more = own_kinds({"other": np.array([1.0])}, taken)
    assert "own_3" in more
    taken.extended(again, "test")
    with pytest.raises(SessionFileError, match="more channels"):
        own_kinds({f"c_{n}": np.array([1.0]) for n in range(5000)}, TABLE)
