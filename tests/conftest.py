"""What holds for every test: drawn examples are the same each time, and no test is judged by how long it took."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")
