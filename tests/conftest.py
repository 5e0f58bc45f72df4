"""Shared fixtures: every test runs away from the user's own folders, settings and locale."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def isolated_home(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Point home, config and data folders at an empty folder, and make the locale plain."""
    home = tmp_path_factory.mktemp("home")
    for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(home))
    for name in ("NO_COLOR", "GROUNDSTATION_SETTINGS", "GROUNDSTATION_SESSIONS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LC_ALL", "C.UTF-8")
    monkeypatch.setenv("COLUMNS", "100")
    return home
