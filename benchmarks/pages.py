"""How fast the pages of the notebook are, as ratios within one run.

Run sheet and shelf, warm: the slowest of twenty (p95) at most 4 times that of a static file of the same server. The
verdict with its pictures, reckoned once: at most 6 times. First page after ``truerun serve``: under 2 s. Every page
of a notebook with 100 000 entries: at most twice its time with 1 000. The server is a process of its own.

    python benchmarks/pages.py
"""

import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import numpy as np

from truerun.notebook.connection import writing
from truerun.notebook.entries import Kind, write_entry
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.tables import ENTRIES
from truerun.virtual.bench import Bench, Watch
from truerun.virtual.tables import simulate_times
from truerun.workflow.bench import begin_run, open_test, seal_plan, start_session, state_of, stop_clock, write_claim
from truerun.workflow.deciding import decide

REQUEST = {"source": "arc in", "control": "arc out", "end": "speed", "spread": 0.0154, "margin": 0.02, "run_minutes": 5}
WARM = ("/", "/t/1/runs/9/sheet", "/t/2/verdict")
STATIC = "/static/page.css"
PAGES = (*WARM, "/t/1/claim", "/t/1/plan/seal", "/t/1/runs", "/t/2/runs", "/look")
ROUNDS = 60


def fill(book: Notebook, count: int) -> None:
    """Open two invented tests, one after eight of its runs and one decided, with so many taps in all."""
    for name, runs in (("half done", 8), ("decided", 16)):
        test = open_test(book, name, invented=True).id
        write_claim(book, test, "The wheel gains on every turn.")
        seal_plan(book, test, REQUEST, book.head(test).digest, seed=f"{name}, invented for this measurement")
        start_session(book, test)
        order = state_of(book, test).order
        signs = np.array([1 if each == "arc in" else -1 for each in order])
        bench = Bench(mean_time=159.7, drive_fraction=-0.055, spread=0.0125, watch=Watch(0.0, 0.1))
        for seconds in simulate_times(bench, signs, np.random.default_rng(1))[:runs]:
            run = begin_run(book, test).id
            tapped(book, test, run, count // 24)
            stop_clock(book, test, run, round(float(seconds), 2))
    decide(book, test)


def tapped(book: Notebook, test: str, run: str, count: int) -> None:
    """Write the taps of a run in one commit."""
    last, rows = book.entries(test, last=1)[0], []
    for number in range(last.number + 1, last.number + 1 + count):
        body = {"run": run, "at": number * 0.01}
        last = write_entry(test, number, Kind.TAP, body, time=book.time(), follows=last.digest)
        rows.append({"test": test, "number": number, "digest": last.digest, "sender": None, "stored": last.stored})
    with writing(book.engine, book.place) as connection:
        connection.execute(ENTRIES.insert(), rows)


@contextmanager
def served(place: Path) -> Iterator[tuple[httpx.Client, float]]:
    """Serve a notebook; give a browser that was let in, and the time from the start to the first page [s]."""
    begun = time.perf_counter()
    words = [sys.executable, "-m", "truerun", "serve", "--port", "0", "--no-browser", "--notebook", str(place)]
    with (
        subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process,
        httpx.Client(trust_env=False, follow_redirects=True, timeout=300) as client,
    ):
        link = process.stdout.readline().strip() if process.stdout is not None else ""
        client.headers["sec-fetch-site"] = "none"
        client.get(link).raise_for_status()
        first = time.perf_counter() - begun
        client.base_url = httpx.URL(re.sub(r"/start.*", "", link))
        yield client, first
        process.terminate()


def times_of(client: httpx.Client, paths: tuple[str, ...]) -> dict[str, list[float]]:
    """Ask for pages in turn, so that whatever else the machine does falls on all of them [s]."""
    for path in paths:
        while "refresh" in (answer := client.get(path)).headers:  # says how far it is, until it is reckoned
            pass
        answer.raise_for_status()
    taken: dict[str, list[float]] = {path: [] for path in paths}
    for _ in range(ROUNDS):
        for path in paths:
            begun = time.perf_counter()
            client.get(path)
            taken[path].append(time.perf_counter() - begun)
    return taken


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        middle: dict[int, dict[str, float]] = {}
        for count in (1_000, 100_000):
            place = Path(folder) / f"{count}.notebook"
            with open_notebook(place) as book:
                fill(book, count)
            with served(place) as (client, first):
                taken = times_of(client, (STATIC, *PAGES))
            print(f"{count} entries: first page {first:.2f} s after the start (at most 2)")
            middle[count] = {path: statistics.median(each) for path, each in taken.items()}
            slow = {path: float(np.quantile(each, 0.95)) for path, each in taken.items()}
            for path, most in zip(WARM, (4, 4, 6), strict=True):
                ratio = slow[path] / slow[STATIC]
                print(f"  {path:24} p95 {1e3 * slow[path]:6.1f} ms, {ratio:5.2f} times (at most {most})")
        for path in PAGES:
            print(f"{path:26} 100 000 entries against 1 000: {middle[100_000][path] / middle[1_000][path]:5.2f} times")


if __name__ == "__main__":
    main()
