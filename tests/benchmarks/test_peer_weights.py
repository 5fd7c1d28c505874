"""The reader and writer of peer_weights.py on a small file of our own, byte for byte as its docstring has the format.

That openai-whisper and whisper.cpp hear with the whole weights what faster-whisper hears is measured, not tested:
docs/speed.md.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import peer_weights
import pytest

STATE, WORDS, MELS = 4, 7, 3
NUMBERS = {np.dtype(np.float32): 0, np.dtype(np.int8): 1, np.dtype(np.int16): 2, np.dtype(np.float16): 4}


def invented() -> peer_weights.Tensors:
    """Every tensor of a model of one layer a side, each of other values."""
    chance = np.random.default_rng(3)
    shapes: dict[str, tuple[int, ...]] = {
        "decoder/embeddings/weight": (WORDS, STATE),
        "encoder/conv1/weight": (STATE, MELS, 3),
        "encoder/conv2/weight": (STATE, STATE, 3),
        "encoder/conv1/bias": (STATE,),
        "encoder/conv2/bias": (STATE,),
        "encoder/position_encodings/encodings": (6, STATE),
        "decoder/position_encodings/encodings": (5, STATE),
    }
    linear = {"self_attention/linear_0": 3, "self_attention/linear_1": 1, "ffn/linear_0": 4}
    across = {"attention/linear_0": 1, "attention/linear_1": 2, "attention/linear_2": 1}
    for side, layers in (("encoder", linear), ("decoder", linear | across)):
        at = f"{side}/layer_0"
        for name, times in layers.items():
            shapes |= {f"{at}/{name}/weight": (times * STATE, STATE), f"{at}/{name}/bias": (times * STATE,)}
        shapes |= {f"{at}/ffn/linear_1/weight": (STATE, 4 * STATE), f"{at}/ffn/linear_1/bias": (STATE,)}
        norms = [side, f"{at}/self_attention", f"{at}/ffn", *([f"{at}/attention"] * (side == "decoder"))]
        shapes |= {f"{n}/layer_norm/{part}": (STATE,) for n in norms for part in ("gamma", "beta")}
    made = {name: chance.standard_normal(shape).astype(np.float16) for name, shape in shapes.items()}
    for side in ("encoder", "decoder"):
        made[f"{side}/layer_0/self_attention/linear_0/bias"][STATE : 2 * STATE] = 0
        made[f"{side}/num_heads"] = np.array(2, np.int16)
    made["decoder/layer_0/attention/linear_1/bias"][:STATE] = 0
    return made


def text(word: str) -> bytes:
    return struct.pack("<H", len(word) + 1) + word.encode() + b"\0"


def stored(tensors: peer_weights.Tensors, also: dict[str, str], version: int = 6) -> bytes:
    """A file as CTranslate2 has it."""
    made = struct.pack("<I", version) + text("WhisperSpec") + struct.pack("<II", 3, len(tensors))
    for name, tensor in tensors.items():
        made += text(name) + struct.pack(f"<B{tensor.ndim}I", tensor.ndim, *tensor.shape)
        made += struct.pack("<BI", NUMBERS[tensor.dtype], tensor.nbytes) + tensor.tobytes()
    return made + struct.pack("<I", len(also)) + b"".join(text(a) + text(b) for a, b in also.items())


def test_every_tensor_is_read_as_it_was_written(tmp_path: Path) -> None:
    made = invented()
    (tmp_path / "model.bin").write_bytes(
        stored(made, {"decoder/projection/weight": "decoder/embeddings/weight"})
    )
    found = peer_weights.read(tmp_path / "model.bin")
    assert found.keys() == made.keys() | {"decoder/projection/weight"}
    for name, tensor in made.items():
        np.testing.assert_array_equal(found[name], tensor)
    np.testing.assert_array_equal(found["decoder/projection/weight"], made["decoder/embeddings/weight"])


def test_whole_numbers_are_divided_by_the_scale_of_their_row(tmp_path: Path) -> None:
    whole, scale = np.array([[127, -127], [64, 0]], np.int8), np.array([254, 32], np.float32)
    (tmp_path / "model.bin").write_bytes(stored({"a/weight": whole, "a/weight_scale": scale}, {}))
    found = peer_weights.read(tmp_path / "model.bin")
    assert found.keys() == {"a/weight"}
    np.testing.assert_array_equal(found["a/weight"], [[0.5, -0.5], [2, 0]])


@pytest.mark.parametrize("broken", [lambda b: b[:-9], lambda b: struct.pack("<I", 9) + b[4:]])
def test_what_is_no_such_file_is_refused(tmp_path: Path, broken) -> None:
    (tmp_path / "model.bin").write_bytes(broken(stored(invented(), {})))
    with pytest.raises(ValueError, match=r"cut off|version"):
        peer_weights.read(tmp_path / "model.bin")


def test_queries_keys_and_values_come_apart() -> None:
    made = invented()
    found = peer_weights.as_openai(made)
    fused = made["encoder/layer_0/self_attention/linear_0/weight"]
    at = "encoder.blocks.0.attn"
    parts = [found[f"{at}.{part}.weight"] for part in ("query", "key", "value")]
    np.testing.assert_array_equal(np.concatenate(parts), fused)
    assert f"{at}.key.bias" not in found
    fused = made["decoder/layer_0/attention/linear_1/weight"]
    np.testing.assert_array_equal(found["decoder.blocks.0.cross_attn.value.weight"], fused[STATE:])
    values = sum(tensor.size for name, tensor in made.items() if not name.endswith("num_heads"))
    assert sum(tensor.size for tensor in found.values()) == values - 3 * STATE  # the keys' empty biases


def test_keys_with_a_bias_are_not_whispers() -> None:
    made = invented()
    made["decoder/layer_0/attention/linear_1/bias"][0] = 1
    with pytest.raises(ValueError, match="keys have a bias"):
        peer_weights.as_openai(made)


def test_tokens_are_the_bytes_they_stand_for() -> None:
    assert peer_weights.spoken(["A", "Ġear", "Ã©", "", "<|endoftext|>", "<|en|>"]) == [
        b"A",
        b" ear",
        "é".encode(),
        b"",
    ]


def test_ggml_holds_sizes_filters_tokens_and_tensors(tmp_path: Path) -> None:
    made = invented()
    tensors, filters = peer_weights.as_openai(made), np.arange(6, dtype=np.float32).reshape(MELS, 2)
    place = tmp_path / "ggml.bin"
    peer_weights.write_ggml(place, tensors, peer_weights.sizes(made), filters, [b"A", b" ear"])
    with place.open("rb") as file:

        def whole(count: int) -> list[int]:
            return list(struct.unpack(f"<{count}i", file.read(4 * count)))

        assert whole(12) == [0x67676D6C, WORDS, 6, STATE, 2, 1, 5, STATE, 2, 1, MELS, 1]
        assert whole(2) == [MELS, 2]
        np.testing.assert_array_equal(np.frombuffer(file.read(24), "<f4"), range(6))
        assert whole(1) == [2]
        assert [file.read(whole(1)[0]) for _ in range(2)] == [b"A", b" ear"]
        found = {}
        while header := file.read(12):
            rank, length, half = struct.unpack("<3i", header)
            shape = whole(rank)[::-1]
            name = file.read(length).decode()
            kind = np.dtype("<f2" if half else "<f4")
            data = file.read(int(np.prod(shape)) * kind.itemsize)
            found[name] = np.frombuffer(data, kind).reshape(shape)
    assert found.keys() == tensors.keys()
    for name, tensor in tensors.items():
        np.testing.assert_array_equal(found[name].squeeze(), tensor.squeeze())
    assert found["encoder.conv1.bias"].shape == (STATE, 1)
    assert found["encoder.conv1.weight"].dtype == np.float16
    assert found["decoder.positional_embedding"].dtype == np.float32
