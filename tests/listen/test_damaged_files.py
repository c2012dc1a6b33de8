"""Whatever has happened to a file, `review` ends with 0 or 2, soon, and in words."""

import random
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from listen.cli import run
from tests.listen.bench_sound import SAMPLE_RATE_HZ, shop_take
from tests.listen.encoding import CODECS, encode

# A hang is what a person would call one; a whole take of this length needs under a second.
LONGEST_S = 20.0
PER_BATCH = 100
# A sample of the kinds of file and of damage for every run; the five hundred are others.
QUICK = random.Random(7).sample(range(1_000, 3_000), 42)

Mutation = Callable[[bytearray, random.Random], bytearray]


def cut(data: bytearray, chance: random.Random) -> bytearray:
    return data[: chance.randrange(len(data))]


def headless(data: bytearray, chance: random.Random) -> bytearray:
    return data[chance.randrange(1, len(data)) :]


def flipped(data: bytearray, chance: random.Random) -> bytearray:
    for _ in range(chance.choice([1, 10, 100, 1000])):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    return data


def header_scrambled(data: bytearray, chance: random.Random) -> bytearray:
    for _ in range(chance.randrange(1, 12)):
        data[chance.randrange(min(200, len(data)))] = chance.randrange(256)
    return data


def hole(data: bytearray, chance: random.Random) -> bytearray:
    at, length = chance.randrange(len(data)), chance.randrange(1, len(data) // 2)
    length = len(data[at : at + length])
    data[at : at + length] = chance.choice([bytes(length), chance.randbytes(length)])
    return data


def missing_middle(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(len(data))
    del data[at : at + chance.randrange(1, len(data) // 2)]
    return data


def doubled(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(len(data))
    return data[:at] + data[max(0, at - 5000) :]


MUTATIONS: tuple[Mutation, ...] = (
    cut, headless, flipped, header_scrambled, hole, missing_middle, doubled,
)  # fmt: skip


@pytest.fixture(scope="session")
def originals(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """One take in every kind of file."""
    folder = tmp_path_factory.mktemp("originals")
    samples, _ = shop_take(pass_times_s=(3.0,), pause_s=1.5)
    slow = samples[: len(samples) // 6 * 6].reshape(-1, 6).mean(axis=1)
    return [
        encode(
            folder / f"take{kind}",
            slow if kind in {".3gp", ".amr"} else samples,
            sample_rate_hz=8_000 if kind in {".3gp", ".amr"} else SAMPLE_RATE_HZ,
            kind=kind,
            video=kind in {".mp4", ".mov"},
        )
        for kind in CODECS
    ]


def damage(originals: list[Path], folder: Path, seed: int) -> Path:
    """Make damaged file number `seed`, always the same one."""
    chance = random.Random(seed)
    original = originals[seed % len(originals)]
    data = MUTATIONS[seed // len(originals) % len(MUTATIONS)](
        bytearray(original.read_bytes()), chance
    )
    path = folder / f"{seed}{''.join(original.suffixes)}"
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    "seed", range(2 * len(CODECS) * len(MUTATIONS), 2 * len(CODECS) * len(MUTATIONS) + 42)
)
def test_damage_ends_in_a_review_or_a_sentence(
    originals: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str], seed: int
) -> None:
    start_s = time.perf_counter()
    status = run(["review", str(damage(originals, tmp_path, seed)), "--flutes", "2"])
    assert time.perf_counter() - start_s < LONGEST_S
    assert status in {0, 2}
    said = capsys.readouterr()
    assert (status == 2) == said.err.startswith("toothbeat: ")
    assert (status == 0) == bool(said.out)


@pytest.mark.slow
@pytest.mark.parametrize("batch", range(5))
def test_five_hundred_damaged_files(originals: list[Path], tmp_path: Path, batch: int) -> None:
    """The same in processes of their own, where a crash of the decoder itself would show."""
    failures = []
    for seed in range(batch * PER_BATCH, (batch + 1) * PER_BATCH):
        path = damage(originals, tmp_path, seed)
        said = subprocess.run(
            [sys.executable, "-m", "listen", "review", str(path), "--flutes", "2"],
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
            check=False,
        )
        if said.returncode not in {0, 2} or "Traceback" in said.stderr:
            failures.append(f"{path.name}: {said.returncode}: {said.stderr[-400:]}")
    assert failures == []
