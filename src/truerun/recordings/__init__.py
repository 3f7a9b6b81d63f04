"""Readers: files to records."""
