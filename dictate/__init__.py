"""Sound to words: read a recording, find the speech in it, hear the words.

`dictate.hear.transcribe` is the way in. Nothing here reaches the network or writes outside the cache folder.
"""
