"""What the clinician touches."""
