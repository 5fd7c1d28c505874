"""What a failing disk, a misdirected write or a flipped bit makes of a database file."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

PAGE = 4096
_LEAF = 0x0D
"""The first byte of a page of rows (SQLite, "Database File Format", 1.6)."""


class Pages:
    """The pages of a file by number, from 0."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self.count = file.stat().st_size // PAGE

    def __getitem__(self, number: int) -> bytes:
        with self._file.open("rb") as file:
            file.seek(PAGE * number)
            return file.read(PAGE)

    def __setitem__(self, number: int, content: bytes) -> None:
        with self._file.open("r+b") as file:
            file.seek(PAGE * number)
            file.write(content)


def _noise(pages: Pages, at: int, chance: random.Random) -> None:
    pages[at] = chance.randbytes(PAGE)


def _zeros(pages: Pages, at: int, _: random.Random) -> None:
    pages[at] = bytes(PAGE)


def _rot(pages: Pages, at: int, chance: random.Random) -> None:
    held = bytearray(pages[at])
    for _ in range(chance.randrange(1, 40)):
        held[chance.randrange(PAGE)] = chance.randrange(256)
    pages[at] = bytes(held)


def _flipped_bits(pages: Pages, at: int, chance: random.Random) -> None:
    held = bytearray(pages[at])
    for _ in range(chance.randrange(1, 4)):
        held[chance.randrange(8, 300)] ^= 1 << chance.randrange(8)
    pages[at] = bytes(held)


def _old_page(pages: Pages, at: int, chance: random.Random) -> None:
    """A write that went to another place."""
    pages[at] = pages[chance.randrange(1, pages.count)]


def _swapped(pages: Pages, at: int, chance: random.Random) -> None:
    other = chance.randrange(1, pages.count)
    pages[at], pages[other] = pages[other], pages[at]


def _lengths_and_numbers(pages: Pages, at: int, chance: random.Random) -> None:
    """Of rows in a page: they can then stand in any order, and ask for any length."""
    for _ in range(50):
        if pages[at][0] == _LEAF:
            break
        at = chance.randrange(1, pages.count)
    held = bytearray(pages[at])
    for _ in range(2):
        cell = chance.randrange(max(int.from_bytes(held[3:5], "big"), 1))
        place = int.from_bytes(held[8 + 2 * cell : 10 + 2 * cell], "big")
        for more in range(place, min(place + chance.randrange(1, 6), PAGE)):
            held[more] = chance.randrange(256) | (0x80 if chance.random() < 0.7 else 0)
    pages[at] = bytes(held)


def _noise_like_rows(pages: Pages, at: int, chance: random.Random) -> None:
    """Noise that says of itself that it is a page of rows or of references to pages."""
    if chance.random() < 0.5:
        pages[at] = bytes([chance.choice((2, 5, 10, _LEAF))]) + chance.randbytes(PAGE - 1)
    else:
        pages[at] = bytes([_LEAF, 0, 0, 0, chance.randrange(60), 1, 0, 0]) + chance.randbytes(PAGE - 8)


KINDS: dict[str, Callable[[Pages, int, random.Random], None]] = {
    "noise": _noise,
    "zeros": _zeros,
    "rot": _rot,
    "flipped bits": _flipped_bits,
    "an old page": _old_page,
    "swapped": _swapped,
    "lengths and numbers": _lengths_and_numbers,
    "noise like rows": _noise_like_rows,
}


def harm(file: Path, kind: str, chance: random.Random) -> None:
    """Damage one page (or two), never the first."""
    pages = Pages(file)
    KINDS[kind](pages, chance.randrange(1, pages.count), chance)
