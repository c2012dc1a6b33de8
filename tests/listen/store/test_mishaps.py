"""Kills, crowds, damage and age: nothing that was kept is lost."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from contextlib import closing
from pathlib import Path

import pytest

from listen.store.database import FILE_NAME, MIGRATIONS, SetAside, StoreError, opened
from listen.store.names import NameStore, name_store
from listen.store.things import BitFacts, RouterFacts

KEEPER = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    from listen.store.names import name_store
    from listen.store.things import BitFacts

    folder, prefix, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    for number in range(count):
        with name_store(folder) as store:
            store.add("bit", f"{prefix}{number}", BitFacts(diameter_mm=1.0 + number))
        print(number, flush=True)
    """
)


def keeper(folder: Path, prefix: str, count: int) -> subprocess.Popen[str]:
    """A program that keeps bits one after another and says each one once it is kept."""
    return subprocess.Popen(
        [sys.executable, "-c", KEEPER, str(folder), prefix, str(count)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )


def kept_names(folder: Path) -> set[str]:
    with name_store(folder) as store:
        return {thing.name for thing in store.all("bit")}


def test_kill_while_writing_loses_nothing_that_was_answered(tmp_path: Path) -> None:
    for attempt, pause_s in enumerate((0.0, 0.004, 0.009)):
        program = keeper(tmp_path, f"run{attempt} bit", 100_000)
        assert program.stdout is not None
        said = [program.stdout.readline() for _ in range(8)]
        time.sleep(pause_s)
        program.send_signal(signal.SIGKILL)
        said += program.stdout.readlines()
        program.communicate()
        answered = {f"run{attempt} bit{line.strip()}" for line in said if line.endswith("\n")}
        assert len(answered) >= 8
        assert answered <= kept_names(tmp_path)


def test_two_writers_at_once_both_get_their_way(tmp_path: Path) -> None:
    programs = [keeper(tmp_path, prefix, 25) for prefix in ("left", "right")]
    for program in programs:
        _, trouble = program.communicate(timeout=60)
        assert program.returncode == 0, trouble
    assert kept_names(tmp_path) == {
        f"{prefix}{number}" for prefix in ("left", "right") for number in range(25)
    }


def test_edits_from_two_hands_both_land(tmp_path: Path) -> None:
    """Each reads and writes inside one lock, so no edit overwrites the other's."""
    with name_store(tmp_path) as one, name_store(tmp_path) as other:
        one.add("router", "bench", RouterFacts())

        def with_power(facts: object) -> RouterFacts:
            assert isinstance(facts, RouterFacts)
            return RouterFacts(**{**facts.to_plain(), "input_power_w": 1400.0})

        def with_mains(facts: object) -> RouterFacts:
            assert isinstance(facts, RouterFacts)
            return RouterFacts(**{**facts.to_plain(), "mains_hz": 50.0})

        one.change("router", "bench", with_power)
        other.change("router", "bench", with_mains)
        assert one.get("router", "bench").facts == RouterFacts(input_power_w=1400.0, mains_hz=50.0)


def damage(path: Path, how: str) -> bytes:
    """Spoil a file in one of several ways; return what it then holds."""
    whole = path.read_bytes()
    spoiled = {
        "text": b"these are not the bits you are looking for\n" * 40,
        "cut short": whole[: len(whole) // 2],
        "zeroed header": bytes(100) + whole[100:],
        "noise": bytes(random.Random(5).randbytes(len(whole))),
        "noise in a page": whole[:4096] + random.Random(6).randbytes(4096) + whole[8192:],
        "another program's": b"",
    }[how]
    if how == "another program's":
        path.unlink()
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("CREATE TABLE theirs (x)")
            connection.commit()
        return path.read_bytes()
    path.write_bytes(spoiled)
    return spoiled


@pytest.mark.parametrize(
    "how",
    ["text", "cut short", "zeroed header", "noise", "noise in a page", "another program's"],
)
def test_a_damaged_file_is_set_aside_whole_and_told(
    tmp_path: Path, how: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with name_store(tmp_path) as store:
        for number in range(200):
            store.add("bit", f"bit{number}", BitFacts(diameter_mm=6.0, note="x" * 40))
    spoiled = damage(tmp_path / FILE_NAME, how)
    capsys.readouterr()
    with name_store(tmp_path) as store:
        assert store.all("bit") == []
        store.add("bit", "new", BitFacts(diameter_mm=3.0))
    (aside,) = tmp_path.glob("*damaged*.sqlite3")
    assert aside.read_bytes() == spoiled
    told = capsys.readouterr().err
    assert str(aside) in told
    assert "names import" in told
    # And only once: the new file is sound.
    assert kept_names(tmp_path) == {"new"}
    assert len(list(tmp_path.glob("*damaged*.sqlite3"))) == 1


NEWER = (*MIGRATIONS, "ALTER TABLE things ADD COLUMN colour TEXT DEFAULT 'grey'")


def never(aside: SetAside) -> None:
    raise AssertionError(str(aside))


def test_an_old_schema_is_brought_up_to_date_and_a_copy_is_left(tmp_path: Path) -> None:
    """The next version's program opens this one's file."""
    with name_store(tmp_path) as store:
        store.add("bit", "spiral", BitFacts(diameter_mm=12.7))
    for _ in range(2):
        with opened(tmp_path, on_set_aside=never, migrations=NEWER) as connection:
            assert connection.execute("SELECT name, colour FROM things").fetchall() == [
                ("spiral", "grey")
            ]
            assert NameStore(connection).get("bit", "spiral").facts == BitFacts(diameter_mm=12.7)
    with closing(sqlite3.connect(tmp_path / "names-before-version-2.sqlite3")) as copy:
        assert copy.execute("SELECT name FROM things").fetchall() == [("spiral",)]


def test_a_migration_that_fails_leaves_the_old_file_as_it_was(tmp_path: Path) -> None:
    with name_store(tmp_path) as store:
        store.add("bit", "spiral", BitFacts(diameter_mm=12.7))
    broken = (*NEWER[:-1], NEWER[-1] + "; THIS IS NOT SQL")
    with (
        pytest.raises(StoreError, match="Nothing in it was changed"),
        opened(tmp_path, on_set_aside=never, migrations=broken),
    ):
        pass
    assert kept_names(tmp_path) == {"spiral"}


def test_a_file_from_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    with opened(tmp_path, on_set_aside=never, migrations=NEWER) as connection:
        NameStore(connection).all("bit")
    before = (tmp_path / FILE_NAME).read_bytes()
    with pytest.raises(StoreError, match="newer Toothbeat"):
        kept_names(tmp_path)
    assert (tmp_path / FILE_NAME).read_bytes() == before


def test_a_folder_that_cannot_be_used_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match="TOOTHBEAT_HOME"):
        kept_names(tmp_path / "file" / "home")


def test_a_file_that_another_program_holds_is_waited_for_then_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("listen.store.database.PATIENCE_S", 0.05)
    kept_names(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as holder:
        holder.execute("BEGIN EXCLUSIVE")
        with (
            pytest.raises(StoreError, match="another program"),
            name_store(tmp_path) as store,
        ):
            store.add("bit", "spiral", BitFacts(diameter_mm=12.7))
