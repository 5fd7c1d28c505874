"""Papers of a visit: the record, letters, advice. `papers` makes them, `sentences` says what a letter says."""
