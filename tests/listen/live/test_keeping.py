import errno
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listen.decoding import open_take
from listen.live.keeping import KeepingError, TakeKeeper
from listen.live.shelf import DiskFullError, Hold, Shelf, ShelfError

RATE_HZ = 48_000
BLOCK = 2048


def ramp(first: int, count: int) -> np.ndarray:
    """Samples that 16 bits hold exactly and that tell where they lie."""
    return (((np.arange(first, first + count) % 20_011) - 10_000) / 32767).astype(np.float32)


def sound_of(path: Path) -> np.ndarray:
    with open_take(path) as take:
        return np.concatenate(list(take.blocks()))


def same(heard: np.ndarray, expected: np.ndarray) -> None:
    np.testing.assert_allclose(heard, expected, atol=1.5 / 32768)


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path / "takes")


def test_a_take_comes_back_sample_for_sample(shelf: Shelf) -> None:
    take = shelf.begin({"sample_rate_hz": RATE_HZ})
    keeper = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=0)
    for first in range(0, 20 * BLOCK, BLOCK):
        keeper.add_sound(ramp(first, BLOCK))
    keeper.add_event({"kind": "pass", "number": 1})
    keeper.close()
    sound = shelf.end(take)
    assert sound is not None
    same(sound_of(sound), ramp(0, 20 * BLOCK))
    found = shelf.find(take.name)
    assert found is not None
    assert found.ended
    assert found.events == [{"kind": "pass", "number": 1}]


KILLED = """
import os, sys
from pathlib import Path
from listen.live.keeping import TakeKeeper
from listen.live.shelf import Hold, Shelf
from tests.listen.live.test_keeping import BLOCK, RATE_HZ, ramp
take = Shelf(Path(sys.argv[1])).begin({"sample_rate_hz": RATE_HZ})
hold = Hold(take.folder)
keeper = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=0)
for first in range(0, 100 * BLOCK, BLOCK):
    keeper.add_sound(ramp(first, BLOCK))
    keeper.add_event({"kind": "pass", "number": first})
os.kill(os.getpid(), 9)
"""


def test_killed_at_once_less_than_a_second_is_lost_and_the_take_is_offered(
    shelf: Shelf,
) -> None:
    done = subprocess.run([sys.executable, "-c", KILLED, str(shelf.root)], check=False)
    assert done.returncode == -9
    (take,) = shelf.unfinished()
    kept = shelf.kept_samples(take)
    assert 100 * BLOCK - RATE_HZ < kept <= 100 * BLOCK
    assert len(take.events) == 100
    sound = shelf.end(take)
    assert sound is not None
    same(sound_of(sound), ramp(0, kept))
    assert shelf.unfinished() == []


def test_sound_is_put_on_the_disk_once_a_second(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a machine without power keeps is what the system was asked to put on the disk."""
    sizes: list[int] = []
    take = shelf.begin({"sample_rate_hz": RATE_HZ})
    monkeypatch.setattr(
        "listen.live.keeping.os.fsync", lambda file: sizes.append(os.fstat(file).st_size)
    )
    keeper = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=0)
    for first in range(0, 5 * RATE_HZ, BLOCK):
        keeper.add_sound(ramp(first, BLOCK))
    keeper.close()
    of_sound = sizes[::2]  # the sound's file, then the events'
    assert len(of_sound) == 4  # one for each 24 blocks: 1.024 s
    assert of_sound == sorted(set(of_sound))


def test_two_runs_of_one_take_are_joined_with_silence_for_what_is_missing(shelf: Shelf) -> None:
    take = shelf.begin({"sample_rate_hz": RATE_HZ})
    for first, count in ((0, 3 * BLOCK), (5 * BLOCK, 2 * BLOCK)):
        keeper = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=first)
        keeper.add_sound(ramp(first, count))
        keeper.close()
    sound = shelf.end(take)
    assert sound is not None
    expected = ramp(0, 7 * BLOCK)
    expected[3 * BLOCK : 5 * BLOCK] = 0
    same(sound_of(sound), expected)


def test_two_runs_that_overlap_are_joined_without_doubling(shelf: Shelf) -> None:
    take = shelf.begin({"sample_rate_hz": RATE_HZ})
    for first, count in ((0, 5 * BLOCK), (4 * BLOCK, 3 * BLOCK)):
        keeper = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=first)
        keeper.add_sound(ramp(first, count))
        keeper.close()
    sound = shelf.end(take)
    assert sound is not None
    same(sound_of(sound), ramp(0, 7 * BLOCK))


def test_a_full_disk_is_told_once_and_what_was_written_stays(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    take = shelf.begin({"sample_rate_hz": RATE_HZ})
    keeper = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=0)
    for first in range(0, 20 * BLOCK, BLOCK):
        keeper.add_sound(ramp(first, BLOCK))
    full = FullDisk(keeper._sound)
    keeper._sound.close()
    monkeypatch.setattr(keeper, "_container", full)
    with pytest.raises(KeepingError, match=r"disk is full.*coaching goes on"):
        keeper.add_sound(ramp(20 * BLOCK, BLOCK))
    keeper.drop()
    assert shelf.kept_samples(take) >= 19 * BLOCK - 4608


class FullDisk:
    """Stands for a container on a disk without room."""

    def __init__(self, _file: Any) -> None:
        pass

    def mux(self, _packets: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")


def test_no_take_is_begun_on_a_disk_that_is_nearly_full(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("listen.live.shelf.LEAST_FREE_BYTES", 2**62)
    with pytest.raises(DiskFullError, match="nearly full"):
        shelf.begin({})


def test_a_take_in_use_is_neither_offered_nor_removed(shelf: Shelf) -> None:
    take = shelf.begin({})
    hold = Hold(take.folder)
    assert shelf.unfinished() == []
    with pytest.raises(ShelfError, match="still being recorded"):
        shelf.remove(take)
    hold.release()
    assert [found.name for found in shelf.unfinished()] == [take.name]
    shelf.remove(take)
    assert shelf.takes() == []


@pytest.mark.parametrize(
    "name", ["", ".", "..", "../takes", "/etc", "20260101-000000-00000g", "a\0b", "x" * 5000]
)
def test_only_the_shelfs_own_names_find_anything(shelf: Shelf, name: str) -> None:
    shelf.begin({})
    assert shelf.find(name) is None


def test_a_damaged_note_and_a_cut_line_hide_no_take(shelf: Shelf) -> None:
    take = shelf.begin({})
    (take.folder / "take.json").write_bytes(b'{"sam')
    (take.folder / "events.jsonl").write_text(json.dumps({"kind": "pass"}) + '\n{"kind": "pa')
    (found,) = shelf.takes()
    assert not found.ended
    assert found.events == [{"kind": "pass"}]


def test_a_take_whose_last_note_found_no_room_can_still_go_on(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Joined, yet not marked as ended: what is recorded later is added, nothing is replaced."""
    take = shelf.begin({"sample_rate_hz": RATE_HZ})
    first = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=0)
    first.add_sound(ramp(0, 3 * BLOCK))
    first.close()
    with monkeypatch.context() as full:
        full.setattr("listen.live.shelf.write_about", no_room)
        with pytest.raises(KeepingError, match="no room"):
            shelf.end(take)
    (offered,) = shelf.unfinished()
    assert shelf.kept_samples(offered) == 3 * BLOCK
    second = TakeKeeper(take.folder, sample_rate_hz=RATE_HZ, first=3 * BLOCK)
    second.add_sound(ramp(3 * BLOCK, BLOCK))
    second.close()
    sound = shelf.end(offered)
    assert sound is not None
    same(sound_of(sound), ramp(0, 4 * BLOCK))


def no_room(_folder: Path, _about: dict[str, Any]) -> None:
    raise KeepingError("no room")
