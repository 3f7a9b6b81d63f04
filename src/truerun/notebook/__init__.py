"""One append-only notebook: entries in a chain, recordings in chunks, heads beside the file."""
