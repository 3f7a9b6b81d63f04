"""The notebook of invented tests: its verdicts agree with the truth that was put in, and everything is marked."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest

from truerun.notebook.bundle import check_bundle
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.state import TestState
from truerun.trial.seal import canonical_bytes, spoken_code
from truerun.uncertainty import source
from truerun.virtual.course import simulate_run
from truerun.virtual.rig import Launch, Rig
from truerun.virtual.rim_arc import ARC_IN, ARC_OUT, RimWheel, bump_of, simulate_rim_arc, simulate_to_rest, window_time
from truerun.workflow.bench import state_of
from truerun.workflow.bundles import bundle
from truerun.workflow.deciding import shown, table_of
from truerun.workflow.demo_notebook import demonstration_notebook
from truerun.workflow.powers import drag_at_launch, powers_of
from truerun.workflow.recorded import Measurements
from truerun.workflow.rig import launch_of
from truerun.workflow.screening_runs import screened

FROM, TO = 4 * np.pi, 4 * np.pi / 3  # 120 and 40 r/min


@pytest.fixture(scope="module")
def measured() -> Measurements:
    """Hold what was measured while the notebook was made."""
    return {}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, measured: Measurements) -> Iterator[Notebook]:
    """Make the notebook once."""
    place = tmp_path_factory.mktemp("demo") / "demo.notebook"
    demonstration_notebook(place, kept=measured)
    with open_notebook(place, make=False) as notebook:
        yield notebook


@pytest.fixture(scope="module")
def states(demo: Notebook) -> dict[str, TestState]:
    """Give every test by its name."""
    found = [state_of(demo, row.id) for row in demo.tests()]
    return {state.name: state for state in found}


def drive(state: TestState) -> tuple[str, float, float]:
    """Give the verdict and the span of the drive fraction."""
    assert state.decided is not None
    found = state.decided["drive_fraction"]
    return state.decided["verdict"], found["low"], found["high"]


class TestTheTruthIsFound:
    # the draws are seeded, so that none of these can fail by luck

    def test_the_arc_is_a_brake_of_the_size_that_was_put_in(self, states: dict[str, TestState]) -> None:
        put_in = 1 - window_time(ARC_OUT, FROM, TO) / window_time(ARC_IN, FROM, TO)
        verdict, low, high = drive(states["The rim arc"])
        assert verdict == "takes-energy"
        assert low < put_in < high < 0
        assert put_in == pytest.approx(-0.05, abs=0.005)

    def test_by_the_stopwatch_the_same_runs_look_like_a_gain(self, states: dict[str, TestState]) -> None:
        decided = states["The rim arc"].decided
        assert decided is not None
        assert decided["stopwatch"]["drive_fraction"] > 0.05
        assert decided["stopwatch"]["over_the_window"] == pytest.approx(decided["drive_fraction"]["value"], abs=0.003)
        assert "two-impressions" in {found["check"] for found in decided["findings"]}

    def test_a_drive_that_is_there_is_found(self, states: dict[str, TestState]) -> None:
        verdict, low, high = drive(states["The helping motor"])
        assert verdict == "adds-energy"
        assert 0 < low < 0.03 < high

    def test_nothing_against_nothing_shows_nothing(self, states: dict[str, TestState]) -> None:
        verdict, low, high = drive(states["Nothing against nothing"])
        assert verdict in ("no-difference-found", "no-difference-larger-than-margin")
        assert low < 0 < high

    def test_one_test_waits_for_its_next_run(self, states: dict[str, TestState]) -> None:
        waiting = states["The arc at 16 mm"]
        assert waiting.next_slot == 6
        assert waiting.decided is None

    def test_of_places_that_are_all_alike_one_looks_best_and_its_fresh_test_shows_nothing(
        self, states: dict[str, TestState]
    ) -> None:
        found = screened(states["Round the clock"])
        figures = found.screened.figures
        assert figures is not None
        assert found.candidate == "arc at 7 o'clock"
        assert figures.worth.expected < figures.worth.shown / 2  # more than half of it is said to be luck
        verdict, low, high = drive(states["arc at 7 o'clock, tested afresh"])
        assert verdict in ("no-difference-found", "no-difference-larger-than-margin")
        assert low < 0 < high


class TestItIsWhole:
    def test_every_test_is_marked_as_invented(self, states: dict[str, TestState]) -> None:
        assert len(states) == 6
        assert all(state.invented for state in states.values())

    def test_every_run_of_the_arc_has_a_recording_and_a_stopwatch_time(self, states: dict[str, TestState]) -> None:
        runs = states["The rim arc"].runs
        assert len(runs) == 16
        assert all(run.recordings and run.recordings[-1].marks and run.seconds for run in runs)
        paths = {run.recordings[-1].digest: f"{run.slot}.csv" for run in runs}
        assert table_of(states["The rim arc"], paths).recorded

    def test_the_arc_was_agreed_described_and_reported(self, states: dict[str, TestState]) -> None:
        arc = states["The rim arc"]
        assert set(arc.agreed) == {"claimant", "sceptic"}
        assert arc.rig is not None
        assert arc.reports == 1

    def test_whoever_opens_it_next_need_not_measure_the_recordings_again(
        self, demo: Notebook, states: dict[str, TestState], measured: Measurements
    ) -> None:
        state = states["The rim arc"]
        assert state.decided is not None
        before = list(measured)
        again = shown(demo, state.id, kept=measured)
        assert len(before) == 16
        assert list(measured) == before
        assert again.document()["drive_fraction"] == state.decided["drive_fraction"]

    def test_a_stranger_comes_to_the_same_verdict_without_truerun(
        self, demo: Notebook, states: dict[str, TestState], tmp_path: Path
    ) -> None:
        """What recordings decided is computed anew from the times they gave, by Python alone."""
        state = states["The rim arc"]
        bundle(demo, state.id, tmp_path / "arc.zip")
        with zipfile.ZipFile(tmp_path / "arc.zip") as packed:
            packed.extractall(tmp_path / "unpacked")
            runs = packed.read("data/runs.csv").decode().splitlines()
        words = [sys.executable, "-I", "-S", "verify.py"]
        alone = subprocess.run(words, cwd=tmp_path / "unpacked", capture_output=True, text=True, check=False)
        assert alone.returncode == 0, alone.stdout
        assert state.decided is not None
        assert f"p = {state.decided['p']:.6g}" in alone.stdout
        assert runs[0].endswith("stopwatch")
        assert float(runs[1].rpartition(",")[2]) == state.runs[0].seconds

    def test_the_screening_holds_a_run_that_was_made_again_and_its_truth(self, states: dict[str, TestState]) -> None:
        state = states["Round the clock"]
        assert state.next_screened is None
        assert [run.slot for run in state.runs if run.left_out] == [9]
        assert any("all twelve places are alike" in words for _, words in state.notes)
        assert state.challenges[0]["test"] == states["arc at 7 o'clock, tested afresh"].id

    def test_the_runs_are_the_same_each_time(self) -> None:
        signs = np.array([1, -1, -1, 1], dtype=np.int8)
        first, again = (simulate_rim_arc(signs, np.random.default_rng(7)) for _ in range(2))
        assert first == again


@pytest.fixture(scope="module")
def handed_on(
    demo: Notebook, states: dict[str, TestState], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, bytes]:
    """Give the files of the bundle of the main test."""
    place = tmp_path_factory.mktemp("handed") / "arc.zip"
    bundle(demo, states["The rim arc"].id, place)
    with zipfile.ZipFile(place) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


class TestWhatIsHandedOn:
    """Whoever changes a file can make its manifest anew; the logbook still names what was attached."""

    def recording(self, files: dict[str, bytes]) -> str:
        return next(name for name in files if name.startswith("data/recordings/"))

    def put_anew(self, files: dict[str, bytes], folder: Path) -> tuple[str, Path]:
        """Write files with manifests that fit them; give what a stranger's check says, and the zip of them."""
        names = sorted(name for name in files if name.startswith("data/"))
        listed = "".join(f"{sha256(files[name]).hexdigest()}  {name}\n" for name in names)
        files["manifest-sha256.txt"] = listed.encode()
        tags = ("bagit.txt", "manifest-sha256.txt")
        files["tagmanifest-sha256.txt"] = "".join(f"{sha256(files[t]).hexdigest()}  {t}\n" for t in tags).encode()
        with zipfile.ZipFile(folder / "again.zip", "w") as packed:
            for name, data in files.items():
                packed.writestr(name, data)
            packed.extractall(folder / "again")
        words = [sys.executable, "-I", "-S", "verify.py"]
        alone = subprocess.run(words, cwd=folder / "again", capture_output=True, text=True, check=False)
        return alone.stdout if alone.returncode else "", folder / "again.zip"

    def test_files_that_were_not_touched_hold(self, handed_on: dict[str, bytes], tmp_path: Path) -> None:
        said, place = self.put_anew(dict(handed_on), tmp_path)
        assert said == ""
        assert check_bundle(place)[1] == ()

    @pytest.mark.parametrize("change", ["cut", "taken out", "put in", "report", "time", "order"])
    def test_a_changed_file_with_manifests_made_anew_is_named(
        self, handed_on: dict[str, bytes], tmp_path: Path, change: str
    ) -> None:
        files = dict(handed_on)
        name = self.recording(files)
        if change == "cut":
            files[name] = files[name][:-20]
        elif change == "taken out":
            del files[name]
        elif change == "put in":
            files["data/recordings/more.csv"] = b"time [s]\n1.0\n"
        elif change in ("time", "order"):
            heads, first, *more = files["data/runs.csv"].decode().splitlines()
            run, condition, time, *rest = first.split(",")
            changed = [run, condition, repr(float(time) + 0.5)] if change == "time" else [run, "another", time]
            files["data/runs.csv"] = "\n".join([heads, ",".join([*changed, *rest]), *more, ""]).encode()
        else:
            files["data/report.html"] = files["data/report.html"].replace(b"takes energy", b"adds energy")
        said, place = self.put_anew(files, tmp_path)
        faults = check_bundle(place)[1]
        assert faults
        assert all(fault.meaning in said for fault in faults)

    def test_a_plan_that_was_changed_is_named_though_the_whole_chain_was_made_anew(
        self, handed_on: dict[str, bytes], tmp_path: Path
    ) -> None:
        files = dict(handed_on)
        lines, before = [], "0" * 64
        for line in files["data/ledger.jsonl"].splitlines():
            entry = json.loads(line) | {"follows": before}
            if entry["kind"] == "sealed":
                entry["body"]["plan"]["margin"] = 0.2
            lines.append(canonical_bytes(entry))
            before = sha256(lines[-1]).hexdigest()
        files["data/ledger.jsonl"] = b"".join(line + b"\n" for line in lines)
        files["head.txt"] = f"{len(lines)} {before}\n{spoken_code(before)}\n".encode()
        said, place = self.put_anew(files, tmp_path)
        assert [fault.meaning for fault in check_bundle(place)[1]] == [
            "the plan of line 6 is not the one that was sealed"
        ]
        assert "the plan of line 6 is not the one that was sealed" in said

    def test_the_report_tells_what_the_notebook_holds(self, handed_on: dict[str, bytes]) -> None:
        """Rig, watts, linked tests and the last line are known, so that nothing of it is said to be missing."""
        page = handed_on["data/report.html"].decode()
        assert "No rig was described" not in page
        assert "741 g ± 1 g" in page
        assert "mW" in page
        assert "was hung on, and the test found it" in page
        assert "not read from a file" not in page
        lines = handed_on["data/ledger.jsonl"].splitlines()
        assert json.loads(lines[-1])["follows"] in page
        assert tempfile.gettempdir() not in page


class TestTheRig:
    """Its figures are those of the virtual bench: 36 mJ make a bump of 1.496 rad^2/s^2, launched at 16 rad/s."""

    INERTIA = 0.036 / 1.496

    def test_what_was_weighed_and_the_fall_both_give_the_wheel_of_the_virtual_bench(
        self, states: dict[str, TestState]
    ) -> None:
        halfway = float(ARC_OUT.drag(np.array([8.0]))[0])
        found = launch_of(states["The rim arc"].rig, source("drag during the fall", halfway, 0.0))
        assert found.troubles == ()
        assert found.agree is True
        for inertia in (found.by_fall, found.by_parts):
            assert inertia is not None
            assert abs(inertia.nominal_value - self.INERTIA) < inertia.std_dev
        assert found.speed is not None
        assert abs(found.speed.nominal_value - 16) < found.speed.std_dev
        left = found.shares[-1][1]
        assert abs(left.nominal_value) < 0.01  # of 3.15 J

    def test_the_losses_in_watts_are_those_that_were_put_in(self, demo: Notebook, states: dict[str, TestState]) -> None:
        state = states["The rim arc"]
        result = shown(demo, state.id)
        inertia = launch_of(state.rig, drag_at_launch(result)).inertia
        assert inertia is not None
        powers = powers_of(result, inertia)
        assert powers is not None
        window = powers.window
        given_up = self.INERTIA * (window.from_**2 - window.to**2) / 2
        for loss in powers.losses:
            put_in = given_up / window_time(ARC_IN if loss.is_source else ARC_OUT, window.from_, window.to)
            assert abs(loss.power.nominal_value - put_in) < 2 * loss.power.std_dev  # seeded: no luck in it
        assert powers.net.nominal_value < -3 * powers.net.std_dev  # a brake
        assert powers.caught is not None
        assert powers.caught.nominal_value == pytest.approx(0.018, rel=0.05)  # half of 36 mJ, above the middle


class TestTheWheel:
    # the other way: the equation of motion over time, by the eighth-order method of scipy.integrate

    @pytest.mark.parametrize("wheel", [ARC_OUT, ARC_IN])
    def test_it_passes_its_marks_and_rests_as_the_equation_of_motion_says(self, wheel: RimWheel) -> None:
        speed = 3.0
        made = simulate_to_rest(wheel, [speed], [1.0])[0]
        rig = Rig(wheel.drag, cosine=bump_of(wheel), marks=wheel.marks)
        course = simulate_run(rig, Launch(speed), tolerance=1e-6)
        assert course.rest is not None
        # which bump is the last one that it climbs hangs on a thousandth of its energy: a few swings of 1 to 2 s
        assert made.rest == pytest.approx(course.rest, rel=0.04)
        assert made.caught <= made.rest
