"""Pictures of results; nothing is computed here."""
