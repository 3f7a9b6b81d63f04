"""What is said of a check that holds, and of one that nobody could make: the other half of the catalogue."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["HOLDS", "NOT_DONE", "Holding"]


@dataclass(frozen=True, slots=True)
class Holding:
    """A sentence, its size, and the findings of the catalogue that would contradict it."""

    sentence: str
    size: str | None = None
    against: frozenset[str] = frozenset()


HOLDS: dict[str, Holding] = {
    "order": Holding(
        "The order of the runs was drawn by lot and sealed before run 1.",
        "one of {orders} orders",
        frozenset(("order-not-drawn", "order-not-in-set", "not-sealed")),
    ),
    "order-can-decide": Holding(
        "The set of orders can decide.",
        "a perfect split comes by luck in {luck} of {orders}",
        frozenset(("order-cannot-decide", "order-not-drawn", "order-not-in-set")),
    ),
    "stopped-as-planned": Holding(
        "Stopped after run {planned}, as planned.",
        "{source} and {control}",
        frozenset(("stopped-early", "beyond-plan", "decided-at-look")),
    ),
    "set-up-as-drawn": Holding(
        "By the table every run was made with the condition that was drawn.",
        None,
        frozenset(("wrong-set-up", "order-not-kept")),
    ),
    "none-left-out": Holding(
        "No run was left out, and none repeated.",
        "{runs} of {runs} count",
        frozenset(("left-out-blind", "aborted-seen", "repeated")),
    ),
    "all-finished": Holding("Every run came to its end.", None, frozenset(("unfinished",))),
    "same-end": Holding(
        "Every run was timed {end}.",
        None,
        frozenset(("end-not-stated", "which-stop", "standstill", "capture-bounded", "standstill-too-large")),
    ),
    "above-capture": Holding(
        "By the recordings the slower speed lies well above the one below which the magnetic bump catches the wheel.",
        "{ratio} times as fast; 3 times are enough",
    ),
    "launch-alike": Holding(
        "By the column of launches both conditions were launched alike.",
        None,
        frozenset(("launch-differs", "launch-by-hand")),
    ),
    "one-test": Holding("One claim, one test.", None, frozenset(("screening",))),
    "same-spread": Holding(
        "Both conditions scatter alike, within a factor of two.", "{ratio} times", frozenset(("spread-differs",))
    ),
    "none-far-off": Holding("No run lies far from the others of its condition.", None, frozenset(("run-far-off",))),
    "little-drift": Holding(
        "Over the test the bench moved by less than the runs scatter.",
        "{drift} from first to last run",
        frozenset(("drift",)),
    ),
    "fine-reading": Holding(
        "The values were written finely enough.", "in steps of {step}", frozenset(("coarse-reading", "last-digits"))
    ),
    "timed-by-sensor": Holding("A sensor timed the runs; no hand could lengthen one.", None, frozenset()),
    "operator-blind": Holding(
        "Who launched and timed did not know which was which.", None, frozenset(("operator-knew", "guessed-too-well"))
    ),
    "opinions-agree": Holding(
        "The usual tests ask the same question another way, and fall on the same side of zero.",
        None,
        frozenset(("second-opinion",)),
    ),
    "both-answered": Holding("Both sides answered before the plan was sealed.", None, frozenset(("absent",))),
    "level-noted": Holding("The level of the axle was written down.", None, frozenset(("rig-not-recorded",))),
}
"""The words of every check that holds, by its name."""

NOT_DONE: dict[str, tuple[str, str]] = {
    "launch-alike": (
        "How hard each launch was is not in the table.",
        "Launch by a falling weight and add a column such as launch [r/min].",
    ),
    "above-capture": (
        "How far the slower speed lies above the one at which the magnetic bump catches the wheel was not measured.",
        "Let the wheel run down to rest with the source in; write down the speed at which it no longer rolls over the bump.",
    ),
    "guesses": (
        "Nobody was asked to guess which was which.",
        "Add a column guess: it shows whether the hiding worked.",
    ),
}
"""What is said, and what to do, where a check could not be made."""
