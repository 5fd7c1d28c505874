"""Words to record."""
