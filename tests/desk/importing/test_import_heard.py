"""An import with the real base recogniser and the real reader: the visits are those of the file read alone."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from desk.cli import cli
from dictate.hear import transcribe
from extract.reader import Reader
from shared.record import Visit
from shared.store import Change, Store

SAMPLES = Path(__file__).parents[3] / "sample_audio"


@pytest.mark.recogniser
def test_real_recordings_are_imported_once_and_what_was_corrected_stays(tmp_path: Path) -> None:
    where, data = tmp_path / "old", tmp_path / "data"
    where.mkdir()
    sound = where / "20210315_093000.mp4"
    shutil.copy(SAMPLES / "left_ear_video.mp4", sound)
    (where / "recordings.csv").write_text("file;patient\n20210315_093000.mp4;4711\n")

    def run(*more: str) -> str:
        result = CliRunner().invoke(cli, ["import", str(where), "--data", str(data), *more])
        assert result.exit_code == 0, result.output
        return result.output

    assert "left by" not in run("--plan")
    assert "1 visit found" in run()
    (expected,) = Reader().read(transcribe(sound))
    with Store(data) as store:
        (row,) = store.visits().rows
        kept = store.visit(row.id)
    assert kept.visit.patient_reference
    assert (kept.visit.patient_reference.value, kept.visit.patient_reference.origin) == ("4711", "entered")
    assert kept.visit.ears == expected.ears
    assert kept.when_from == "name"
    sound.rename(where / "under another name.mp4")
    (where / "recordings.csv").unlink()
    assert "1 recording known already by content" in run()
    with Store(data) as store:
        store.set_person("Ann Example", "clinician")
        changed = Visit.model_validate(kept.visit.model_dump() | {"plan": None})
        store.change(
            row.id, Change("correct", "took out the plan", changed), "Ann Example", revision=kept.revision
        )
    assert "1 recording left as they are" in run("--again")
    with Store(data) as store:
        assert [v.id for v in store.visits().rows] == [row.id]
        assert store.visit(row.id).visit == changed
