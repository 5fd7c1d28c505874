"""What every stage shares: the record model, the vocabulary, transcripts and the store."""
