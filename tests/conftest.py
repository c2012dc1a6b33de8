"""What every test gets."""

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def home_of_its_own(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Keep a test's bits, routers and takes out of the person's own folder."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("TOOTHBEAT_HOME", str(home))
    return home
