"""How long recordings take to read, and how much memory a long one needs.

One million pass times against ``numpy.loadtxt`` on the same clean file (at most 1.2 times), each in turn in this one
run, so that whatever else the machine does falls on both; the smallest time of each counts. Then a waveform of about
200 MB, read by a program of its own whose largest resident memory is asked for at its end (at most 300 MB).
The files are made in a temporary folder. Run it from anywhere: python benchmarks/reading.py
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from truerun.recordings.recording import read_recording

ROUNDS = 7
PASSES = 1_000_000
SAMPLES = 12_000_000
READ_AND_ASK = """\
import resource, sys, time
from truerun.recordings.recording import read_recording
begun = time.perf_counter()
passes = read_recording(sys.argv[1]).series
seconds = time.perf_counter() - begun
print(passes.times.size, seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def seconds(action: Callable[[], object]) -> float:
    """Give the wall time of one call."""
    begun = time.perf_counter()
    action()
    return time.perf_counter() - begun


def compare_passes(path: Path) -> None:
    """Read pass times in turn by both, and print the ratio of their smallest times."""
    times = np.cumsum(np.random.default_rng(1).uniform(0.01, 0.02, PASSES))
    path.write_text("".join(f"{instant:.6f}\n" for instant in times), encoding="utf-8")
    pairs = [
        (seconds(lambda: read_recording(path, kind="passes", unit="s")), seconds(lambda: np.loadtxt(path)))
        for _ in range(ROUNDS)
    ]
    ours, theirs = (min(each) for each in zip(*pairs, strict=True))
    same = np.array_equal(read_recording(path, kind="passes", unit="s").series.times, np.loadtxt(path))  # type: ignore[union-attr]
    print(
        f"{PASSES} pass times: {ours:.3f} s against {theirs:.3f} s of numpy.loadtxt: {ours / theirs:.2f} times "
        f"(at most 1.2); all equal: {same}"
    )


def measure_waveform(path: Path) -> None:
    """Write a waveform of a wheel with four marks that slows from 30 to 10 rad/s, and read it in a new program."""
    random = np.random.default_rng(2)
    step = 2e-5
    with path.open("w", encoding="utf-8") as file:
        file.write("Time [s],CH1 [V]\n")
        for first in range(0, SAMPLES, 200_000):
            times = step * np.arange(first, first + 200_000)
            angle = 30.0 * times - times**2 / 24.0
            volts = 0.1 + 4.8 * (np.mod(angle, np.pi / 2) < 0.1) + 0.02 * random.standard_normal(times.size)
            file.writelines(f"{t:.5f},{v:.4f}\n" for t, v in zip(times, volts, strict=True))
    environment = {key: value for key, value in os.environ.items() if not key.startswith("OPENBLAS_")}
    command = [sys.executable, "-c", READ_AND_ASK, str(path)]
    said = subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout.split()
    size = path.stat().st_size / 1e6
    print(
        f"waveform of {size:.0f} MB, {SAMPLES} samples: {said[0]} passes in {float(said[1]):.1f} s; "
        f"largest resident memory {float(said[2]):.0f} MB (at most 300)"
    )


def main() -> None:
    """Measure both."""
    with tempfile.TemporaryDirectory() as folder:
        compare_passes(Path(folder) / "passes.txt")
        measure_waveform(Path(folder) / "waveform.csv")


if __name__ == "__main__":
    main()
