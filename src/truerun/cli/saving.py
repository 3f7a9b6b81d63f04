"""Writing files that were not there before."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from truerun.errors import ValueOutOfRange

__all__ = ["require_folder", "require_new", "save_new"]


def require_new(paths: list[Path]) -> None:
    """Refuse, before anything is made, to write over a file."""
    for path in paths:
        if path.exists():
            raise ValueOutOfRange(
                f"{path}", "there already", "a new file", "Choose another folder with --out, or move it away."
            )


def require_folder(path: Path) -> None:
    """Refuse, before anything is made, a file where a folder is to be; one that is not there yet is made later."""
    if path.exists() and not path.is_dir():
        raise ValueOutOfRange(f"{path}", "a file", "a folder, or a name that is not taken yet", "Choose another name.")


def save_new(folder: Path, texts: Mapping[str, str | bytes]) -> list[Path]:
    """Write files into a folder, which is made if it is not there; none may exist before."""
    paths = [folder / name for name in texts]
    require_new(paths)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in zip(paths, texts.values(), strict=True):
            with path.open("xb") as file:
                file.write(text if isinstance(text, bytes) else text.encode("utf-8"))
    except OSError as error:
        why = (error.strerror or "not writable").lower()
        raise ValueOutOfRange(f"{folder}", f"not writable ({why})", "a folder that you may write into") from error
    return paths
