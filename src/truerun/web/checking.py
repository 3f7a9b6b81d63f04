"""A check of the whole notebook that runs beside the pages."""

from __future__ import annotations

from dataclasses import dataclass

from truerun.errors import TruerunError
from truerun.notebook.ledger import Notebook
from truerun.notebook.verification import Checked
from truerun.workflow.bundles import verify

__all__ = ["Checking"]


@dataclass(slots=True)
class Checking:
    """When a check was begun, how far it is, and what it found."""

    begun: str
    done: int = 0
    of: int = 0
    found: Checked | None = None
    trouble: str = ""

    @property
    def running(self) -> bool:
        """Whether it has not ended."""
        return self.found is None and not self.trouble

    def run(self, notebook: Notebook) -> None:
        """Check every byte, and keep what was found."""
        try:
            self.found = verify(notebook, progress=self._so_far)
        except TruerunError as error:
            self.trouble = str(error)
        finally:
            if self.running:
                self.trouble = "The check broke off. What was written is untouched. Ask for it again."

    def _so_far(self, done: int, of: int) -> None:
        self.done, self.of = done, of
