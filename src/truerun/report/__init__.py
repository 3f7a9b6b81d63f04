"""Results as one self-contained page."""
