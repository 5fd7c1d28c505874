"""Old recordings in bulk: find them, look at each, hear and read them in worker processes, keep them here."""
