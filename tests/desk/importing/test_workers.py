"""Workers that die take nothing with them but their own file, here and on a real local Dask cluster."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import folder
import workers

from desk.importing import faults, work
from desk.importing.bulk import Wanted, import_all
from desk.importing.crew import Crew


def test_a_worker_that_dies_is_replaced_and_its_task_tried_once_more(tmp_path: Path) -> None:
    with Crew(2) as crew:
        found = dict(crew.run(workers.double_or_die, range(8)))
        flag = str(tmp_path / "flag")
        again = dict(crew.run(workers.die_once, ["", flag]))
    assert found == {n: faults.DIED if n == 3 else 2 * n for n in range(8)}
    assert again == {"": "", flag: flag}


def test_a_worker_that_hangs_is_ended_and_a_slow_one_is_not() -> None:
    beats = list[tuple[str, float | None]]()
    with Crew(2, patience=5.0) as crew:
        list(crew.run(workers.double_or_die, [1, 2]))  # so that none has yet to start
        tasks = ["slow", "quick", "asleep", "in circles"]
        found = dict(crew.run(workers.take_long, tasks, lambda task, beat: beats.append((task, beat.done))))
    assert found == {"slow": "slow", "quick": "quick", "asleep": faults.HUNG, "in circles": faults.HUNG}
    assert [done for task, done in beats if task == "slow"] == sorted(done for _, done in beats if done)


def test_a_dask_cluster_with_a_killed_worker_gives_the_same_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed")
    folder.make(tmp_path / "all")
    where = tmp_path / "some"
    where.mkdir()
    for sound in sorted((tmp_path / "all" / "good").iterdir())[:16]:
        shutil.copy2(sound, where)
    shutil.copy2(tmp_path / "all" / "bad" / "noise.mp3", where)
    here, there = tmp_path / "here", tmp_path / "there"
    assert import_all(Wanted([where], data=here, hear=folder.hear, workers=1)) == 1
    monkeypatch.setattr(work, "work", workers.slowly)  # in this process only: what is sent is `slowly`
    monkeypatch.setenv("PYTHONPATH", f"{Path(__file__).parent}{os.pathsep}{folder.SAMPLES.parent}")
    with distributed.LocalCluster(
        n_workers=3, threads_per_worker=2, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        first = min(worker.pid for worker in cluster.workers.values())

        def kill() -> None:
            for _ in range(3000):
                if any(tmp_path.glob(f"*.{first}.begun")):
                    break
                time.sleep(0.01)
            os.kill(first, signal.SIGKILL)

        killing = threading.Thread(target=kill)
        killing.start()
        failed = import_all(Wanted([where], data=there, hear=folder.hear, cluster=cluster.scheduler_address))
        killing.join()
    assert failed == 1
    assert folder.state(there) == folder.state(here)
    # It was killed in the middle of work, which another has done.
    cut_off = [mark.name.split(".")[0] for mark in tmp_path.glob(f"*.{first}.begun")]
    assert cut_off
    for content in cut_off:
        assert any(tmp_path.glob(f"{content}.*.done"))


def test_no_scheduler_is_one_clear_line(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    from desk.importing.cluster import Cluster  # noqa: PLC0415
    from shared.errors import BadInput  # noqa: PLC0415

    with pytest.raises(BadInput, match="no Dask scheduler answers"):
        Cluster("nowhere")
