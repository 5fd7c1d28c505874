"""Sound to words: read a recording, find the speech in it, hear the words.

`dictate.hear.transcribe` is the way in. Nothing here reaches the network or writes outside the cache folder.
"""

import os

# The library that finds speech (onnxruntime) reports its own use over the network unless told
# not to before it is loaded, and keeps an identifier of the machine in the user's cache.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
