"""What a killed program left half written goes, what a living one writes stays."""

import os
from pathlib import Path

from desk import saving


def test_what_was_left_half_written_goes(tmp_path: Path) -> None:
    kept = tmp_path / "kept.json"
    kept.write_text("kept")
    with saving.whole(tmp_path / "being written") as living:
        left = tmp_path / f"{living.name}x"
        for file, written in ((left, 100), (living, 300), (kept, 100)):
            file.touch()
            os.utime(file, (written, written))
        saving.remove_left(tmp_path, before=200)
        assert not left.exists()
        living.write_text("whole")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["being written", "kept.json"]
    assert (tmp_path / "being written").read_text() == "whole"
