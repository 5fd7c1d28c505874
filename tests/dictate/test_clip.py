"""A few seconds of a recording: the right ones, whatever the format."""

import io
import wave
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from dictate.clip import clip
from dictate.read import RATE, read
from shared.errors import BadRecording

SAMPLES = Path(__file__).parents[2] / "sample_audio"


def samples(wav: bytes) -> npt.NDArray[np.int16]:
    with wave.open(io.BytesIO(wav)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        return np.frombuffer(file.readframes(file.getnframes()), dtype=np.int16)


@pytest.mark.parametrize(
    "name", ["right_ear.opus", "three_patients.ogg", "corrections.mp3", "history_and_referral.m4a",
             "left_ear_video.mp4", "suction_hiss.flac"],
)  # fmt: skip
@pytest.mark.parametrize("start", [0.0, 5.25, 12.0])
def test_the_clip_is_the_stretch_of_the_whole_recording(name: str, start: float) -> None:
    whole = read(SAMPLES / name).samples
    wanted = whole[round(start * RATE) : round((start + 2) * RATE)].astype(float)
    found = samples(clip(SAMPLES / name, start, start + 2)).astype(float)
    assert len(found) == len(wanted)
    # The place at which the two agree best, within 50 ms either side: a clip that is off plays other words.
    reach = RATE // 20
    core = wanted[reach:-reach]
    agree = [float(np.dot(core, found[i : i + len(core)])) for i in range(2 * reach)]
    assert abs(int(np.argmax(agree)) - reach) <= RATE // 100


def test_what_lies_outside_is_left_out() -> None:
    seconds = read(SAMPLES / "right_ear.opus").seconds
    assert len(samples(clip(SAMPLES / "right_ear.opus", -3, 1))) == RATE
    assert len(samples(clip(SAMPLES / "right_ear.opus", seconds - 1, seconds + 5))) == pytest.approx(
        RATE, abs=400
    )
    assert len(samples(clip(SAMPLES / "right_ear.opus", seconds + 10, seconds + 12))) == 0
    assert len(samples(clip(SAMPLES / "right_ear.opus", 5, 4))) == 0


def test_a_file_of_no_sound_is_told(tmp_path: Path) -> None:
    for name, content in (("text.txt", b"no sound"), ("empty.wav", b"")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(BadRecording):
            clip(tmp_path / name, 0, 1)
    with pytest.raises(BadRecording):
        clip(tmp_path / "missing.wav", 0, 1)


def test_silence_stays_where_it_is(tmp_path: Path) -> None:
    """A tone that begins at 3 s is found at 3 s, not at the start of the clip."""
    path = tmp_path / "tone.wav"
    sound = np.zeros(6 * RATE, dtype="<i2")
    sound[3 * RATE :] = (np.sin(np.arange(3 * RATE) / 10) * 9000).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(sound.tobytes())
    found = samples(clip(path, 2.0, 4.0))
    assert int(np.argmax(np.abs(found) > 100)) == pytest.approx(RATE, abs=20)
