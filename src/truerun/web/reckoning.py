"""Results that take longer than a page may: reckoned beside the pages, with a sign of how far they are."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Reckoning", "reckoned"]


@dataclass(slots=True)
class Reckoning:
    """How far a result is, in recordings that are measured; ``trouble`` is what stopped it."""

    done: int = 0
    of: int = 0
    trouble: Exception | None = None
    ended: threading.Event = field(default_factory=threading.Event)

    def run(self, work: Callable[[Callable[[int, int], None]], Any]) -> None:
        """Do the work, which keeps its result itself."""
        try:
            work(self._so_far)
        except Exception as error:  # noqa: BLE001  whoever waits for it raises it again
            self.trouble = error
        finally:
            self.ended.set()

    def _so_far(self, done: int, of: int) -> None:
        self.done, self.of = done, of


def reckoned(
    reckonings: dict[str, Reckoning], test: str, work: Callable[[Callable[[int, int], None]], Any], patience: float
) -> Reckoning | None:
    """Have something reckoned for a test, once however many pages ask.

    Parameters
    ----------
    reckonings : dict
        What is being reckoned, by the id of its test.
    test : str
        Its id; while something is reckoned for it, nothing else is begun.
    work : callable
        What is to be done, given where to say how far it is.
    patience : float
        How long to wait for it [s].

    Returns
    -------
    Reckoning or None
        None once it has ended.

    Raises
    ------
    Exception
        What stopped the work.
    """
    fresh = Reckoning()
    going = reckonings.setdefault(test, fresh)
    if going is fresh:
        threading.Thread(target=going.run, args=(work,), daemon=True).start()
    if not going.ended.wait(patience):
        return going
    if reckonings.get(test) is going:  # another page may have begun the next one by now
        reckonings.pop(test, None)
    if going.trouble is not None:
        raise going.trouble
    return None
