"""The order of the tests: the long ones first, so that neither of the two processes waits for the other at the end."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Those that use the recogniser begin."""
    items.sort(key=lambda item: item.get_closest_marker("recogniser") is None)
