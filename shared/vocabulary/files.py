"""The files of the vocabulary as they come: YAML, read by the quicker of PyYAML's two safe loaders."""

from __future__ import annotations

from importlib import resources
from typing import Any

import yaml

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def load_yaml(text: str) -> Any:
    """What a YAML text holds. Raises yaml.YAMLError if it is none."""
    return yaml.load(text, Loader=_LOADER)


def shipped(name: str) -> Any:
    """What a file beside this module holds."""
    return load_yaml((resources.files("shared.vocabulary") / name).read_text(encoding="utf-8"))
