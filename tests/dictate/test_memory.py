"""Blocks of the encoder's size are got from the system once, until they are given back."""

from __future__ import annotations

import json
import platform
import subprocess
import sys

import pytest

from dictate import memory

PROGRAM = """
import ctypes, json, resource
from dictate import memory

library = ctypes.CDLL(None)
library.malloc.restype, library.malloc.argtypes = ctypes.c_void_p, [ctypes.c_size_t]
library.free.argtypes, library.memset.argtypes = [ctypes.c_void_p], [ctypes.c_void_p, ctypes.c_int, ctypes.c_size_t]
SIZE = 72 * 2**20

def pages():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    block = library.malloc(SIZE)
    library.memset(block, 1, SIZE)
    library.free(block)
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

asked = [pages(), pages(), memory.keep(), pages(), pages()]
memory.give_back()
print(json.dumps([*asked, pages()]))
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc is told")
def test_what_is_freed_is_used_again_until_it_is_given_back() -> None:
    told = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True).stdout
    first, second, kept, grown, again, given_back = json.loads(told)
    assert kept
    every_page = 1000  # of 18,432, or fewer where the system hands them out by the dozen
    assert min(first, second, grown, given_back) > every_page
    assert again < 100


def test_other_systems_are_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(platform, "libc_ver", lambda *about, **more: ("", ""))
    memory._glibc.cache_clear()
    try:
        assert memory.keep.__wrapped__() is False
        memory.give_back()
    finally:
        memory._glibc.cache_clear()
