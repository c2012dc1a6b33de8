"""python -m recordings_synthetic"""

import json
from pathlib import Path

from click.testing import CliRunner

from recordings_synthetic.__main__ import main
from recordings_synthetic.writing import full_set


def test_it_writes_sound_and_truth(tmp_path: Path) -> None:
    result = CliRunner().invoke(
        main, [str(tmp_path / "new"), "--kind", "steady", "--count", "2", "--format", "aac-64k"]
    )
    assert result.exit_code == 0, result.output
    assert "2/2" in result.output
    sounds = sorted((tmp_path / "new").glob("*.m4a"))
    assert len(sounds) == 2
    facts = json.loads(sounds[0].with_suffix(".json").read_text())
    assert facts["kind"] == "steady"
    assert facts["coding"] == "aac-64k"


def test_it_asks_for_a_folder() -> None:
    result = CliRunner().invoke(main, [])
    assert result.exit_code == 2
    assert "folder" in result.output


def test_the_full_set_holds_60_takes_of_either_split() -> None:
    chosen = full_set(0)
    assert len(chosen) == len(set(chosen)) == 60
    assert sum(split == "held_out" for split, *_ in chosen) == 30
