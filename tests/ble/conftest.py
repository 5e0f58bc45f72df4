"""These tests too must give back what they took."""

from __future__ import annotations

from tests.groundstation.sources.conftest import nothing_left_behind

__all__ = ("nothing_left_behind",)
