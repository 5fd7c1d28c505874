"""Record to people: the command line, sheets and lists."""

import os

# The library that finds speech (onnxruntime) reports its own use over the network unless told
# not to before it is loaded, and keeps an identifier of the machine in the user's cache.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"
