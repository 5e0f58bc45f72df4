"""A file is whole or not there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from groundstation.whole_file import written_whole


def test_what_was_written_takes_its_place_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text("before")
    with written_whole(path) as part:
        part.write_text("after")
        assert path.read_text() == "before"
        assert part.suffix == path.suffix
    assert path.read_text() == "after"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("stopped_by", [KeyboardInterrupt, OSError, ValueError])
def test_whatever_stops_the_writing_leaves_what_was_there(
    stopped_by: type[BaseException], tmp_path: Path
) -> None:
    path = tmp_path / "table.csv"
    path.write_text("before")

    def write_half() -> None:
        with written_whole(path) as part:
            part.write_text("half")
            raise stopped_by

    with pytest.raises(stopped_by):
        write_half()
    assert path.read_text() == "before"
    assert list(tmp_path.iterdir()) == [path]


def test_nothing_is_left_where_nothing_was_written(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), written_whole(tmp_path / "new.csv"):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_link_stays_one(tmp_path: Path) -> None:
    target, link = tmp_path / "target.csv", tmp_path / "link.csv"
    target.write_text("before")
    link.symlink_to(target)
    with written_whole(link) as part:
        part.write_text("after")
    assert link.is_symlink()
    assert target.read_text() == "after"


def test_a_device_is_never_replaced() -> None:
    reader, writer = os.openpty()
    try:
        device = Path(os.ttyname(writer))
        with written_whole(device) as part:
            assert part == device
        assert device.is_char_device()
    finally:
        os.close(reader)
        os.close(writer)
