"""Sound in which nobody dictates, a minute of each sort and loudness, for as long as it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import sounds
from sounds import RATE, Samples

MINUTE = 60 * RATE
LOUDNESS_DB = {
    "silence": (-120, -80),
    "steady suction": (-40, -25, -12),
    "gurgling suction": (-40, -25, -12),
    "music": (-50, -35, -20),
    "breathing": (-60, -45, -30),
    "distant talk": (-65, -55, -45),
}
"""Root mean square below full scale, by sort of sound. Silence is the noise of a microphone."""


def minutes(count: int, talk: Sequence[Samples]) -> Iterator[tuple[str, Samples]]:
    """(what it is, the sound) of `count` minutes, every sort in turn. talk: speech to be put behind a wall."""
    for number in range(count):
        sort = list(LOUDNESS_DB)[number % len(LOUDNESS_DB)]
        levels = LOUDNESS_DB[sort]
        level = levels[number // len(LOUDNESS_DB) % len(levels)]
        sound = _made(sort, talk, number)
        yield f"{sort}, {level} dB", np.clip(sound * 10 ** (level / 20), -1, 1).astype(np.float32)


def _made(sort: str, talk: Sequence[Samples], seed: int) -> Samples:
    make: dict[str, Callable[[int, int], Samples]] = {
        "silence": lambda n, s: sounds.shaped(n, s, np.ones_like),
        "steady suction": sounds.steady_suction,
        "gurgling suction": sounds.gurgling_suction,
        "music": sounds.music,
        "breathing": sounds.breathing,
    }
    if sort in make:
        return make[sort](MINUTE, seed)
    return sounds.far_away(np.resize(talk[seed % len(talk)], MINUTE), seed)
