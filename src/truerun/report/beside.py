"""What a notebook knows of a test beside its table of runs, as a report takes it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Beside"]


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside the runs; a table from a file has nothing of it.

    ``logbook`` is the number and the SHA-256 of the last line that the runs were taken from. ``rig`` holds what was
    written down of the rig, ``watts`` the losses where the inertia of the wheel is known, each as what it is called
    and what is said of it. ``broken`` is why the seal was broken. ``typed`` are the runs whose time came from paper
    or another watch, ``notes`` what was noted and when [UTC], ``photos`` the name and SHA-256 of each photo.
    """

    logbook: tuple[int, str] | None = None
    rig: tuple[tuple[str, str], ...] = ()
    watts: tuple[tuple[str, str], ...] = ()
    broken: str | None = None
    typed: tuple[int, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    photos: tuple[tuple[str, str], ...] = ()
