"""Pages of recordings of every kind, made from wheels whose truth is known."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from truerun.series import AngleTrack
from truerun.virtual.course import course_angles, simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.recording_files import write_angles
from truerun.virtual.rig import Launch, Rig
from truerun.virtual.wheels import truth
from truerun.workflow.both_ways import both_ways
from truerun.workflow.recognising import recognise_recordings
from truerun.workflow.reducing import As

__all__ = ["RECORDINGS", "recording_page"]

REAL = Path(__file__).parents[1] / "data" / "real"
MADE = datetime(2026, 3, 14, 21, 52, tzinfo=UTC)


def _of(path: Path, how: As | None = None) -> str:
    """The page of one recording."""
    return recognise_recordings([path], how or As()).first.report(made=MADE)


def _swings(_: Path) -> str:
    return _of(REAL / "magnet_pendulum_d06_l80_40deg.txt")


def _sine(_: Path) -> str:
    return _of(REAL / "wheel_radial_torsion_gyro.csv", As(unit="rad/s"))


def _film(folder: Path) -> str:
    rig = Rig(drag=PowerLaw(((0, 0.2), (1, 0.02))), cosine=(8.0,))
    times = np.arange(0, 60, 1 / 60)
    angles = course_angles(simulate_run(rig, Launch(14.0, 0.3), 61.0, tolerance=1e-9), times)
    path = folder / "film.csv"
    write_angles(path, AngleTrack(times, angles + 2e-3 * np.random.default_rng(5).standard_normal(times.size)))
    return _of(path)


def _releases(folder: Path) -> str:
    starts = np.linspace(0.5, 2.6, 12)
    ends = np.linspace(np.pi, 2 * np.pi, 200_001)
    left = np.cos(ends) - np.cos(starts)[:, None] + 0.02 * (ends - starts[:, None])
    turned = ends[np.abs(left).argmin(axis=1)]
    path = folder / "releases.csv"
    rows = "\n".join(f"{a:.4f};{b:.4f}" for a, b in zip(starts, turned, strict=True))
    path.write_text(f"let go [rad];turned back [rad]\n{rows}\n", encoding="utf-8")
    return _of(path, As(dry_drag=(0.2, 0.004)))


def _ways(folder: Path) -> str:
    paths = []
    for run, scale in enumerate((0.98, 1.0)):
        times = truth("usual", 600).motion.times * scale
        paths.append(folder / f"way-{run}.csv")
        read = times + 2e-5 * np.random.default_rng(run).standard_normal(times.size)
        paths[-1].write_text("time [s]\n" + "\n".join(f"{time:.7f}" for time in read) + "\n", encoding="utf-8")
    return both_ways(paths[1:], paths[:1], As(12)).report(made=MADE)


_MAKERS: dict[str, Callable[[Path], str]] = {
    "swings": _swings,
    "a sine": _sine,
    "a film down to rest": _film,
    "releases": _releases,
    "both ways": _ways,
}
RECORDINGS = tuple(_MAKERS)


def recording_page(kind: str, folder: Path) -> str:
    """Make the page of one kind."""
    return _MAKERS[kind](folder)
