"""Keeping the store safe: backups of all of it in one file, and getting it back."""
