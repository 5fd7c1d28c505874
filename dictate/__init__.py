"""Sound to words: read a recording, find the speech in it, hear the words.

`dictate.hear.transcribe` is the way in. Nothing here reaches the network or writes outside the cache folder.
"""

import os

# The library that finds speech (onnxruntime) reports its own use over the network unless told
# not to before it is loaded, and keeps an identifier of the machine in the user's cache.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"

# The spectra of a clip are too small to be shared out: threads of numpy's that wait for each other only take the
# processors from the recogniser, and how they share changes the last digits of the sum. Read when numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
