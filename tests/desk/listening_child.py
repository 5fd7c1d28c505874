"""A program that listens and is killed: feeds known sound, and says after each piece how much it took.

    python listening_child.py DATA SECONDS SPEED

It listens to SECONDS of sound, SPEED times faster than it would be spoken, and finishes. Each line on standard
output is the number of bytes taken so far, written at once; the last is "finished". Its recogniser and its
reader are scripted: it is the keeping that is tried.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from listening_script import WORDS, find, said, scripted_parts

from desk.listening import Listening
from dictate import speech
from dictate.journal import BYTES_A_SECOND
from shared.record import Extent, Visit
from shared.transcript import Transcript

PIECE = BYTES_A_SECOND // 10


def sound(seconds: float) -> bytes:
    """Some patients, one after another; never the same second twice in one dictation."""
    once = said(*WORDS)
    return (once * (round(seconds * BYTES_A_SECOND) // len(once) + 1))[: round(seconds * BYTES_A_SECOND)]


class OneVisit:
    """A reader that makes one visit of any text, and takes no time to load."""

    def read(self, transcript: Transcript) -> list[Visit]:
        """The visit."""
        text = transcript.text
        return [Visit(extent=Extent(chars=(0, len(text)), confidence=1))] if text else []


def main(data: str, seconds: str, speed: str) -> None:
    """Listen, be killed or finish."""
    speech.find = find
    listening = Listening.start(Path(data), who="somebody", parts=scripted_parts(OneVisit))
    pcm, began = sound(float(seconds)), time.monotonic()
    for at in range(0, len(pcm), PIECE):
        time.sleep(max(began + at / BYTES_A_SECOND / float(speed) - time.monotonic(), 0))
        listening.feed(pcm[at : at + PIECE])
        os.write(1, f"{listening.received}\n".encode())
    listening.finish()
    os.write(1, b"finished\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
