"""What every test gets."""

from pathlib import Path

import pytest
from hypothesis import settings

# How long an example takes says how busy the machine is, not whether the example is right.
settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")


@pytest.fixture(autouse=True)
def home_of_its_own(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Keep a test's bits, routers and takes out of the person's own folder."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("TOOTHBEAT_HOME", str(home))
    return home
