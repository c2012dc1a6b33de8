"""Files that appear whole or not at all."""

import errno
import os
from pathlib import Path

import pytest

from listen.saving import SavingError, check_can_save, save_whole


def test_a_new_file_appears_and_nothing_beside_it(tmp_path: Path) -> None:
    save_whole(tmp_path / "report.html", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]
    assert (tmp_path / "report.html").read_bytes() == b"new"


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_full_disk_leaves_the_old_report_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    report = tmp_path / "report.html"
    report.write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os if step == "fsync" else Path, step, full)
    with pytest.raises(SavingError, match=r"was not written: no space left on device"):
        save_whole(report, b"new")
    assert report.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


def test_the_mode_of_a_replaced_file_stays(tmp_path: Path) -> None:
    report = tmp_path / "report.html"
    report.write_bytes(b"old")
    report.chmod(0o640)
    save_whole(report, b"new")
    assert report.stat().st_mode & 0o777 == 0o640


def test_a_link_keeps_pointing_at_what_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "real.html").write_bytes(b"old")
    (tmp_path / "link.html").symlink_to(tmp_path / "real.html")
    save_whole(tmp_path / "link.html", b"new")
    assert (tmp_path / "link.html").is_symlink()
    assert (tmp_path / "real.html").read_bytes() == b"new"


def test_a_device_is_written_to_and_not_replaced() -> None:
    save_whole(Path("/dev/null"), b"new")
    assert not Path("/dev/null").is_file()


def test_a_missing_folder_is_refused_before_the_work(tmp_path: Path) -> None:
    with pytest.raises(SavingError, match=r"There is no folder"):
        check_can_save(tmp_path / "gone" / "report.html")
    with pytest.raises(SavingError, match=r"there is no folder"):
        save_whole(tmp_path / "gone" / "report.html", b"new")


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(SavingError, match=r"is a folder"):
        check_can_save(tmp_path)
    with pytest.raises(SavingError, match=r"it is a folder"):
        save_whole(tmp_path, b"new")
