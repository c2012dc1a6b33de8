"""Takes on disk, and the command run as a person runs it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from listen.cli import run
from tests.listen.bench_sound import SAMPLE_RATE_HZ, shop_take
from tests.listen.encoding import encode


@dataclass(frozen=True)
class Said:
    """What a run of the command gave: exit status, standard output, standard error."""

    status: int
    out: str
    err: str


@pytest.fixture
def toothbeat(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Run the command in this process: `toothbeat("review", path, "-q")`."""

    def call(*arguments: object) -> Said:
        capsys.readouterr()
        status = run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Said(status, captured.out, captured.err)

    return call


@pytest.fixture(scope="session")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short take with two passes of 12 and 7 s, as a phone would write it."""
    samples, _ = shop_take()
    return encode(
        tmp_path_factory.mktemp("takes") / "shelf.m4a", samples, sample_rate_hz=SAMPLE_RATE_HZ
    )
