"""Sound to words."""
