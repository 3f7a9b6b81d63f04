"""What a check noticed, with its severity, its size and what to do about it."""
