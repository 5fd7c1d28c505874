"""The weights that Earside uses, as openai-whisper and whisper.cpp want them, to compare programs on the same ones.

    PEERS/bin/python tests/benchmarks/peer_weights.py WEIGHTS FOLDER

reads `model.bin`, `config.json` and `vocabulary.json` of a folder WEIGHTS (see dictate/weights.py) and writes
FOLDER/whisper.pt and FOLDER/ggml-f16.bin. It wants numpy alone, and torch and openai-whisper to write: the latter
brings the mel filters.

model.bin as CTranslate2 writes it (file versions 3 to 6, read from files, its reader and the README of its
repository): version; name and revision of the model's kind; each tensor with its name, shape, type and bytes; other
names for tensors. Queries, keys and values of one attention stand in one matrix, one below the other. Keys have no
bias in Whisper, so zeros stand there. Whole numbers of 8 bits come with a `weight_scale` for each row, by which
they are divided.

ggml: a magic number, sizes, the mel filters, the vocabulary, then each tensor with its shape, innermost first, and
its name; matrices as 16-bit, vectors and position tables as 32-bit floats.
"""

from __future__ import annotations

import json
import struct
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

Tensor = npt.NDArray[Any]
Tensors = dict[str, Tensor]

_TYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
_MAGIC = 0x67676D6C
_POSITIONS = ("encoder.positional_embedding", "decoder.positional_embedding")
_SIZES = (
    "n_vocab",
    "n_audio_ctx",
    "n_audio_state",
    "n_audio_head",
    "n_audio_layer",
    "n_text_ctx",
    "n_text_state",
    "n_text_head",
    "n_text_layer",
    "n_mels",
)
"""In the order in which ggml has them."""


def read(path: Path) -> Tensors:
    """Every tensor of a CTranslate2 file by its name, 8-bit ones as the floats they stand for.

    Raises ValueError if the file is not one, is cut off, or holds a type of number not known here.
    """
    with path.open("rb") as file:
        version = _number(file, "I")
        if not 3 <= version <= 6:
            raise ValueError(f"version {version} of the file is not known here")
        _name(file)
        _number(file, "I")
        found: Tensors = {}
        for _ in range(_number(file, "I")):
            name = _name(file)
            shape = [_number(file, "I") for _ in range(_number(file, "B"))]
            kind, size = (_number(file, "B"), _number(file, "I")) if version >= 4 else _by_items(file)
            if kind not in _TYPES:
                raise ValueError(f"{name}: numbers of type {kind} are not known here")
            found[name] = np.frombuffer(_bytes(file, size), _TYPES[kind]).reshape(shape)
        for _ in range(_number(file, "I")):
            other = _name(file)
            found[other] = found[_name(file)]
    scales = {name: found.pop(name) for name in list(found) if name.endswith("_scale") and found[name].ndim}
    for name, scale in scales.items():
        whole = found[name.removesuffix("_scale")]
        if whole.dtype == np.int8:
            found[name.removesuffix("_scale")] = whole.astype(np.float32) / scale.reshape(-1, 1)
    return found


def _by_items(file: BinaryIO) -> tuple[int, int]:
    """Type and bytes of a tensor in version 3, which gives the size and number of its items."""
    each, count = _number(file, "B"), _number(file, "I")
    return {4: 0, 1: 1, 2: 2}.get(each, -1), each * count


def _bytes(file: BinaryIO, size: int) -> bytes:
    found = file.read(size)
    if len(found) != size:
        raise ValueError("the file is cut off")
    return found


def _number(file: BinaryIO, kind: str) -> int:
    return int(struct.unpack(f"<{kind}", _bytes(file, struct.calcsize(f"<{kind}")))[0])


def _name(file: BinaryIO) -> str:
    return _bytes(file, _number(file, "H")).rstrip(b"\0").decode()


def sizes(tensors: Tensors) -> dict[str, int]:
    """What openai-whisper calls the dimensions of a model."""
    state = tensors["encoder/conv1/weight"].shape
    positions = {side: tensors[f"{side}/position_encodings/encodings"] for side in ("encoder", "decoder")}
    words = tensors["decoder/embeddings/weight"]
    return {
        "n_mels": state[1],
        "n_audio_ctx": positions["encoder"].shape[0],
        "n_audio_state": state[0],
        "n_audio_head": int(tensors["encoder/num_heads"]),
        "n_audio_layer": _layers(tensors, "encoder"),
        "n_vocab": words.shape[0],
        "n_text_ctx": positions["decoder"].shape[0],
        "n_text_state": words.shape[1],
        "n_text_head": int(tensors["decoder/num_heads"]),
        "n_text_layer": _layers(tensors, "decoder"),
    }


def _layers(tensors: Tensors, side: str) -> int:
    return len({name.split("/")[1] for name in tensors if name.startswith(f"{side}/layer_")} - {"layer_norm"})


def as_openai(tensors: Tensors) -> Tensors:
    """The tensors as openai-whisper names them, queries, keys and values apart."""
    found: Tensors = {}

    def both(theirs: str, ours: str, norm: bool = False) -> None:
        for part in (("gamma", "weight"), ("beta", "bias")) if norm else (("weight",) * 2, ("bias",) * 2):
            found[f"{theirs}.{part[1]}"] = tensors[f"{ours}/{part[0]}"]

    def apart(theirs: Sequence[str], ours: str) -> None:
        for part in ("weight", "bias"):
            for name, tensor in zip(theirs, np.split(tensors[f"{ours}/{part}"], len(theirs)), strict=True):
                if not (name.endswith(".key") and part == "bias"):
                    found[f"{name}.{part}"] = tensor
                elif tensor.any():
                    raise ValueError(f"{ours}: its keys have a bias, so these are not Whisper's weights")

    both("encoder.conv1", "encoder/conv1")
    both("encoder.conv2", "encoder/conv2")
    both("encoder.ln_post", "encoder/layer_norm", norm=True)
    both("decoder.ln", "decoder/layer_norm", norm=True)
    found["decoder.token_embedding.weight"] = tensors["decoder/embeddings/weight"]
    for side in ("encoder", "decoder"):
        found[f"{side}.positional_embedding"] = tensors[f"{side}/position_encodings/encodings"]
        for i in range(_layers(tensors, side)):
            theirs, ours = f"{side}.blocks.{i}", f"{side}/layer_{i}"
            apart(
                [f"{theirs}.attn.{p}" for p in ("query", "key", "value")], f"{ours}/self_attention/linear_0"
            )
            both(f"{theirs}.attn.out", f"{ours}/self_attention/linear_1")
            both(f"{theirs}.attn_ln", f"{ours}/self_attention/layer_norm", norm=True)
            if side == "decoder":
                both(f"{theirs}.cross_attn.query", f"{ours}/attention/linear_0")
                apart([f"{theirs}.cross_attn.{p}" for p in ("key", "value")], f"{ours}/attention/linear_1")
                both(f"{theirs}.cross_attn.out", f"{ours}/attention/linear_2")
                both(f"{theirs}.cross_attn_ln", f"{ours}/attention/layer_norm", norm=True)
            both(f"{theirs}.mlp.0", f"{ours}/ffn/linear_0")
            both(f"{theirs}.mlp.2", f"{ours}/ffn/linear_1")
            both(f"{theirs}.mlp_ln", f"{ours}/ffn/layer_norm", norm=True)
    return found


def spoken(vocabulary: Sequence[str]) -> list[bytes]:
    """The bytes of each token before the special ones, which begin with <|endoftext|>.

    vocabulary: as in vocabulary.json, each byte as a letter that can be printed (GPT-2's table).
    """
    printed = [*range(0x21, 0x7F), *range(0xA1, 0xAD), *range(0xAE, 0x100)]
    rest = [byte for byte in range(256) if byte not in printed]
    byte_of = {chr(b): b for b in printed} | {chr(256 + i): b for i, b in enumerate(rest)}
    end = list(vocabulary).index("<|endoftext|>")
    return [bytes(byte_of[letter] for letter in token) for token in vocabulary[:end]]


def write_ggml(
    place: Path, tensors: Tensors, dims: dict[str, int], filters: Tensor, words: Sequence[bytes]
) -> None:
    """Write whisper.cpp's file. tensors, dims: as `as_openai`, `sizes`; filters: mel bands x frequencies."""
    with place.open("wb") as out:
        out.write(struct.pack("<12i", _MAGIC, *(dims[size] for size in _SIZES), 1))
        out.write(struct.pack("<2i", *filters.shape) + filters.astype("<f4").tobytes())
        out.write(struct.pack("<i", len(words)))
        for word in words:
            out.write(struct.pack("<i", len(word)) + word)
        for name, tensor in tensors.items():
            out.writelines(_as_ggml(name, tensor))


def _as_ggml(name: str, tensor: Tensor) -> Iterator[bytes]:
    shaped = tensor.reshape(-1, 1) if name in ("encoder.conv1.bias", "encoder.conv2.bias") else tensor
    half = tensor.ndim > 1 and name not in _POSITIONS
    yield struct.pack("<3i", shaped.ndim, len(name), int(half))
    yield struct.pack(f"<{shaped.ndim}i", *reversed(shaped.shape)) + name.encode()
    yield shaped.astype("<f2" if half else "<f4").tobytes()


def write_pt(place: Path, tensors: Tensors, dims: dict[str, int]) -> None:
    """Write openai-whisper's file. tensors, dims: as `as_openai`, `sizes`."""
    import torch  # noqa: PLC0415  (only where openai-whisper is)

    state = {name: torch.tensor(tensor.astype(np.float32)) for name, tensor in tensors.items()}
    torch.save({"dims": dims, "model_state_dict": state}, place)


def main(weights: Path, folder: Path) -> None:
    """Write both files."""
    import whisper  # noqa: PLC0415  (only where openai-whisper is)

    filters = np.load(Path(whisper.__file__).parent / "assets" / "mel_filters.npz")
    read_in = read(weights / "model.bin")
    dims, tensors = sizes(read_in), as_openai(read_in)
    words = spoken(json.loads((weights / "vocabulary.json").read_text(encoding="utf-8")))
    folder.mkdir(parents=True, exist_ok=True)
    write_pt(folder / "whisper.pt", tensors, dims)
    write_ggml(folder / "ggml-f16.bin", tensors, dims, filters[f"mel_{dims['n_mels']}"], words)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
