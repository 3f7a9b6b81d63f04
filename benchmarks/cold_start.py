"""How long a command takes from nothing, beside the least that any program of its kind takes.

``truerun --help`` against ``python -c pass`` (at most 6 times), ``truerun compare`` against a script of five lines
that reads the same table and makes Welch's t test with scipy (at most 1.3 times), ``truerun rundown`` on 2 000 passes
against a script that fits c0 + c1 w to their speeds with scipy (at most twice). Each is started in turn, one after
the other, so that whatever else the machine does falls on both; the smallest time of each counts. All is compiled to
bytecode once beforehand, in a folder of its own. Run it from anywhere: python benchmarks/cold_start.py
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
EXAMPLE = ROOT / "examples" / "rim-arc"
TRUERUN = [str(Path(sys.executable).with_name("truerun"))]
ROUNDS = 15

WELCH = f"""\
import csv
from scipy import stats
rows = list(csv.DictReader(line for line in open({str(EXAMPLE / "run-sheet.csv")!r}) if line[0] != "#"))
times = [[float(row["time [s]"]) for row in rows if row["condition"] == name] for name in ("arc in", "arc out")]
print(stats.ttest_ind(*times, equal_var=False))
"""

FIT = """\
import sys
import numpy as np
from scipy.optimize import curve_fit
times = np.loadtxt(sys.argv[1], skiprows=1)
speed, middle = 2 * np.pi / (times[12:] - times[:-12]), (times[12:] + times[:-12]) / 2
print(curve_fit(lambda t, w, a, b: (w + a / b) * np.exp(-b * t) - a / b, middle - middle[0], speed, (20, 0.1, 0.01)))
"""


def passes_file(folder: Path) -> Path:
    """Write 2 000 passes of twelve marks of a wheel with dry and viscous drag, in closed form, with 20 us of jitter."""
    dry, viscous, start = 0.05, 0.01, 20.0
    time_axis = np.linspace(0, 400, 400_001)
    speed = (start + dry / viscous) * np.exp(-viscous * time_axis) - dry / viscous
    angle = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(time_axis))])
    moving = speed > 1
    passed = np.interp(np.arange(2000) * 2 * np.pi / 12, angle[moving], time_axis[moving])
    passed = passed + 2e-5 * np.random.default_rng(1).standard_normal(2000)
    path = folder / "passes.csv"
    path.write_text("time [s]\n" + "\n".join(f"{each:.7f}" for each in passed) + "\n", encoding="utf-8")
    return path


def seconds(command: Sequence[str], environment: Mapping[str, str]) -> float:
    """Give the wall time of one start."""
    begun = time.perf_counter()
    subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begun


def compared(
    name: str, ours: Sequence[str], theirs: Sequence[str], environment: Mapping[str, str], most: float
) -> None:
    """Start both in turn and print the ratio of their smallest times."""
    seconds(ours, environment), seconds(theirs, environment)  # the first start compiles
    pairs = [(seconds(ours, environment), seconds(theirs, environment)) for _ in range(ROUNDS)]
    least = [min(times) for times in zip(*pairs, strict=True)]
    middle = [statistics.median(times) for times in zip(*pairs, strict=True)]
    print(
        f"{name:32} {1000 * least[0]:6.0f} ms against {1000 * least[1]:6.0f} ms: {least[0] / least[1]:5.2f} times "
        f"(of the medians {middle[0] / middle[1]:5.2f}; at most {most:g})"
    )


def main() -> None:
    """Measure the pairs."""
    with tempfile.TemporaryDirectory() as folder:
        # number of threads as anybody's machine has it
        left_out = ("OPENBLAS_", "PYTHONDONTWRITEBYTECODE")
        environment = {key: value for key, value in os.environ.items() if not key.startswith(left_out)}
        environment["PYTHONPYCACHEPREFIX"] = folder
        compared("truerun --help", [*TRUERUN, "--help"], [sys.executable, "-c", "pass"], environment, 6)
        sheet, plan = (str(EXAMPLE / name) for name in ("run-sheet.csv", "plan.json"))
        decide = [*TRUERUN, "compare", sheet, "--plan", plan]
        compared("truerun compare, cold", decide, [sys.executable, "-c", WELCH], environment, 1.3)
        passes = str(passes_file(Path(folder)))
        reduce = [*TRUERUN, "rundown", passes, "--marks", "12"]
        compared("truerun rundown, cold", reduce, [sys.executable, "-c", FIT, passes], environment, 2)


if __name__ == "__main__":
    main()
