"""Sealed files: what goes in comes out, and whatever was done to one is noticed."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.hmac import HMAC
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.errors import BadRecording
from shared.protecting import sealed
from shared.protecting.vault import Vault

VAULT = Vault(bytes(range(32)))
PIECES = [b"one " * 100, b"two " * 50, b"three" * 40, b"four"]


def kept(folder: Path, pieces: list[bytes], name: str = "talk.wav.sealed", vault: Vault = VAULT) -> Path:
    path = folder / name
    with path.open("wb") as out:
        sealed.write(vault, pieces, out, sealed.about(path))
    return path


def read(path: Path, vault: Vault = VAULT) -> bytes:
    with sealed.opened(vault, path) as file:
        return file.read()


def parts(path: Path) -> list[bytes]:
    """The header and each chunk, as they stand in the file."""
    with path.open("rb") as file:
        places = [*sealed.Chunks(VAULT, file, path).places]
    held = path.read_bytes()
    return [held[a:b] for a, b in zip([0, *places], [*places, len(held)], strict=True)]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(st.binary(max_size=200), max_size=12), data=st.data())
def test_what_goes_in_comes_out_from_any_place(
    tmp_path: Path, pieces: list[bytes], data: st.DataObject
) -> None:
    path, whole = kept(tmp_path, pieces), b"".join(pieces)
    assert read(path) == whole
    plain = io.BytesIO(whole)
    with sealed.opened(VAULT, path) as file:
        for _ in range(6):
            at, size = data.draw(st.integers(0, len(whole) + 5)), data.draw(st.integers(0, 300))
            assert file.seek(at) == plain.seek(at)
            assert file.read(size) == plain.read(size)
        assert file.seek(0, io.SEEK_END) == len(whole)


def test_it_is_what_its_description_says(tmp_path: Path) -> None:
    """Opened here by the description alone: HKDF as RFC 5869 writes it, and GCM as the cipher of the low level."""
    path = kept(tmp_path, PIECES)
    header, *chunks = parts(path)

    def hmac(key: bytes, text: bytes) -> bytes:
        made = HMAC(key, SHA256())
        made.update(text)
        return made.finalize()

    key = hmac(hmac(header[8:], VAULT.key), b"earside file\x01")
    for number, (held, text) in enumerate(zip(chunks, [*PIECES, b""], strict=True)):
        last = number == len(PIECES)
        assert struct.unpack("<I", held[:4]) == (len(text) | last << 31,)
        cipher = Cipher(algorithms.AES(key), modes.GCM(held[4:16], held[-16:])).decryptor()
        cipher.authenticate_additional_data(struct.pack("<QB", number, last) + b"talk.wav")
        assert cipher.update(held[16:-16]) + cipher.finalize() == text


@pytest.mark.parametrize("at", [0, 7, 8, 39, 40, 43, 44, 56, 60, 300, -1, -17, -32])
def test_a_changed_byte_is_refused(tmp_path: Path, at: int) -> None:
    path = kept(tmp_path, PIECES)
    held = bytearray(path.read_bytes())
    held[at] ^= 1
    path.write_bytes(held)
    with pytest.raises(BadRecording, match=r"talk\.wav\.sealed: (was changed|is cut off|is no sealed file)"):
        read(path)


def test_every_changed_bit_is_refused(tmp_path: Path) -> None:
    path = kept(tmp_path, [b"ab", b"c"])
    whole = path.read_bytes()
    for at in range(len(whole)):
        held = bytearray(whole)
        held[at] ^= 1 << (at % 8)
        path.write_bytes(held)
        with pytest.raises(BadRecording):
            read(path)


@pytest.mark.parametrize(
    ("what", "order"),
    [
        ("swapped", [0, 2, 1, 3, 4, 5]),
        ("one left out", [0, 1, 3, 4, 5]),
        ("one twice", [0, 1, 1, 2, 3, 4, 5]),
        ("without the last", [0, 1, 2, 3, 4]),
        ("without all but the last", [0, 5]),
        ("with something behind", [0, 1, 2, 3, 4, 5, 1]),
        ("header alone", [0]),
    ],
)
def test_other_chunks_than_were_written_are_refused(tmp_path: Path, what: str, order: list[int]) -> None:
    path = kept(tmp_path, PIECES)
    there = parts(path)
    path.write_bytes(b"".join(there[n] for n in order))
    with pytest.raises(BadRecording, match=r"was changed or damaged|is cut off"):
        read(path)
    assert what


def test_it_is_refused_wherever_it_is_cut(tmp_path: Path) -> None:
    path = kept(tmp_path, PIECES)
    whole = path.read_bytes()
    for size in range(len(whole)):
        path.write_bytes(whole[:size])
        with pytest.raises(BadRecording):
            read(path)


def test_a_chunk_or_a_file_of_another_is_refused(tmp_path: Path) -> None:
    path, other = kept(tmp_path, PIECES), kept(tmp_path, PIECES, "other.wav.sealed")
    mine, theirs = parts(path), parts(other)
    path.write_bytes(b"".join([*mine[:2], theirs[2], *mine[3:]]))
    with pytest.raises(BadRecording, match="was changed or damaged, or is of another store"):
        read(path)
    path.write_bytes(other.read_bytes())
    with pytest.raises(BadRecording, match="was changed"):
        read(path)
    with pytest.raises(BadRecording, match="was changed"):
        read(other, Vault(bytes(32)))
    path.write_bytes(b"RIFF" + bytes(100))
    with pytest.raises(BadRecording, match="is no sealed file"):
        read(path)


def test_nothing_of_the_text_is_in_the_file_and_no_two_are_alike(tmp_path: Path) -> None:
    one, two = kept(tmp_path, PIECES), kept(tmp_path / "..", PIECES)
    assert one.read_bytes()[8:] != two.read_bytes()[8:]
    for word in (b"one ", b"two ", b"three"):
        assert word not in one.read_bytes()
    two.unlink()


def test_a_line_is_bound_to_its_file() -> None:
    line = VAULT.seal_line(b"Ann Example began", "a.jsonl")
    assert b"Example" not in line
    assert b"\n" not in line
    assert VAULT.open_line(line, "a.jsonl") == b"Ann Example began"
    for held, about in ((line, "b.jsonl"), (line[:-4], "a.jsonl"), (b"", "a.jsonl"), (b"{}", "a.jsonl")):
        with pytest.raises(ValueError, match="not a line sealed"):
            VAULT.open_line(held, about)
