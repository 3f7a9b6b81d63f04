"""Set truerun up on a machine that has only Python, then start it or check it.

``python3 start.py demo``      build the demonstration and open it
``python3 start.py test ...``  run every check; further words go to pytest
``python3 start.py lock ...``  remake both lock files; further words go to uv

Standard library only. The syntax is that of Python 3.6, so that an older Python reaches the sentence about its
version and not a syntax error.
"""

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

if sys.version_info < (3, 11):
    found = ".".join(str(number) for number in sys.version_info[:3])
    sys.exit(
        f"This is Python {found}; truerun needs Python 3.11 or later. Install a newer Python beside it and "
        "name it, for example: python3.11 start.py demo"
    )

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
RUN_LOCK = ROOT / "requirements.lock"
DEV_LOCK = ROOT / "requirements-dev.lock"

WITHOUT_VENV = """\
This Python cannot make a virtual environment. Install what is missing, then start again:
  Debian, Ubuntu   sudo apt install python3-venv
  Fedora           sudo dnf install python3-pip
  macOS            the installer for macOS from the makers of Python
  Windows          the installer for Windows from the makers of Python, with "pip" ticked"""

WITHOUT_PACKAGES = """\
The packages could not be installed; what pip said stands above. Look whether the network can be reached, whether
this Python is one of 3.11 to 3.14, and whether the system is macOS 14 or later, Windows 10 or later, or a Linux
with glibc 2.28 or later. Then start again."""

WITHOUT_CHROMIUM = """\
No Chromium was found: tests in a browser are skipped. To run them too:
  Debian           sudo apt install chromium
  Fedora           sudo dnf install chromium
  macOS, Windows   install Chromium or a browser built on it
or name one: TRUERUN_CHROMIUM=/path/to/chromium python3 start.py test"""


class SetUpImpossible(Exception):
    """The machine lacks something; the sentence says what to do."""


def say(text: str) -> None:
    """Speak to the person who started this, before anything that runs next can speak."""
    print(text, flush=True)


def ran(command: Sequence[object], environment: Mapping[str, str] | None = None, output: int | None = None) -> bool:
    """Run a command in the project's folder, without input; True where it ends well."""
    words = [str(word) for word in command]
    done = subprocess.run(words, cwd=ROOT, env=environment, stdin=subprocess.DEVNULL, stdout=output, check=False)
    return done.returncode == 0


def ran_hushed(command: Sequence[object], environment: Mapping[str, str]) -> bool:
    """Run a command that talks much; only its complaints are shown."""
    return ran(command, environment, subprocess.DEVNULL)


def answered(command: Sequence[object]) -> str | None:
    """Give what a command prints, or None where it cannot be run or does not end well."""
    try:
        done = subprocess.run([str(word) for word in command], capture_output=True, text=True, check=False)
    except OSError:
        return None
    return done.stdout.strip() if done.returncode == 0 else None


# The virtual environment


def python_of(venv: Path, system: str = os.name) -> Path:
    """Give the interpreter of a virtual environment."""
    return venv / "Scripts" / "python.exe" if system == "nt" else venv / "bin" / "python"


def installed(module: str) -> bool:
    """Say whether this Python has a module."""
    return importlib.util.find_spec(module) is not None


def pip_reaches_out() -> bool:
    """Say whether this Python's own pip can install into another environment (pip 22.3 or later)."""
    return answered([sys.executable, "-m", "pip", "--python", sys.executable, "--version"]) is not None


def command_to_make(
    venv: Path,
    has: Callable[[str], bool] = installed,
    outside_pip: Callable[[], bool] = pip_reaches_out,
    which: Callable[[str], str | None] = shutil.which,
) -> list[str]:
    """Give the first way to make a virtual environment that this Python has."""
    target = ["--clear", str(venv)]
    if has("venv") and has("ensurepip"):
        return [sys.executable, "-m", "venv", *target]
    if has("venv") and outside_pip():
        return [sys.executable, "-m", "venv", "--without-pip", *target]
    if has("virtualenv"):
        return [sys.executable, "-m", "virtualenv", *target]
    program = which("virtualenv")
    if program:
        return [program, "--python", sys.executable, *target]
    raise SetUpImpossible(WITHOUT_VENV)


def make_venv(venv: Path) -> None:
    """Make the virtual environment, unless there is one of this very Python."""
    if answered([python_of(venv), "-c", "import sys; print(sys.version)"]) == sys.version.strip():
        return
    say("Making the virtual environment .venv")
    if not ran(command_to_make(venv)):
        raise SetUpImpossible(WITHOUT_VENV)


def pip_for(python: Path) -> list[str]:
    """Give the pip of an environment; where it has none, this Python's pip pointed at it."""
    if answered([python, "-c", "import pip"]) is not None:
        return [str(python), "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", str(python)]


def install(python: Path, lock: Path) -> None:
    """Install what a lock holds, each file checked against its digest, then truerun itself."""
    say(f"Installing what {lock.name} holds (a minute or two the first time)")
    pip = [*pip_for(python), "--disable-pip-version-check", "--no-input", "-qq", "install"]
    ready_made = ["--only-binary=:all:", "--no-binary=odfpy"]  # nothing is compiled here; odfpy is plain Python
    locked = ["--require-hashes", "--no-deps", *ready_made, "--requirement", str(lock)]
    project = ["--no-build-isolation", "--no-deps", "--no-index", "--editable", str(ROOT)]
    if not (ran([*pip, *locked]) and ran([*pip, *project])):
        raise SetUpImpossible(WITHOUT_PACKAGES)


def stamp_for(lock: Path, pyproject: Path) -> str:
    """Give the digest of all that decides what is installed: lock, project, Python, place."""
    digest = hashlib.sha256(f"{sys.version}\n{lock.parent}\n".encode())
    digest.update(lock.read_bytes())
    digest.update(pyproject.read_bytes())
    return digest.hexdigest()


def is_stamped(venv: Path, lock: Path, stamp: str) -> bool:
    """Say whether a lock was installed completely, just as it stands now."""
    place = venv / f"{lock.name}.stamp"
    return python_of(venv).exists() and place.is_file() and place.read_text(encoding="ascii") == stamp


def set_up(lock: Path) -> Path:
    """Make ready what a lock asks for, in no time where that was done before; give the interpreter."""
    pyproject = ROOT / "pyproject.toml"
    if not is_stamped(VENV, lock, stamp_for(lock, pyproject)):
        make_venv(VENV)
        install(python_of(VENV), lock)
        for held in (lock, RUN_LOCK):  # the larger lock holds the smaller one
            (VENV / f"{held.name}.stamp").write_text(stamp_for(held, pyproject), encoding="ascii")
    return python_of(VENV)


# The browser for tests


def usual_places(environment: Mapping[str, str], system: str = sys.platform) -> list[Path]:
    """Give the places outside the search path where a Chromium usually is."""
    if system == "darwin":
        names = ("Chromium", "Google Chrome")
        return [Path(f"/Applications/{name}.app/Contents/MacOS/{name}") for name in names]
    if system == "win32":
        folders = [environment.get(name) for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")]
        makes = ("Chromium", "Google/Chrome")
        return [Path(folder, make, "Application", "chrome.exe") for folder in folders if folder for make in makes]
    return []


def find_chromium(
    environment: Mapping[str, str],
    which: Callable[[str], str | None] = shutil.which,
    system: str = sys.platform,
) -> str | None:
    """Find a Chromium: the one that TRUERUN_CHROMIUM names, else on the search path, else in the usual places."""
    named = environment.get("TRUERUN_CHROMIUM")
    if named:
        return named
    on_path = [which(name) for name in ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")]
    in_place = [str(place) for place in usual_places(environment, system) if place.is_file()]
    return next((found for found in [*on_path, *in_place] if found), None)


def is_root() -> bool:
    """Say whether this runs as root; never on Windows, which has no such number."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def install_chromium(
    which: Callable[[str], str | None] = shutil.which,
    root: Callable[[], bool] = is_root,
    run: Callable[[Sequence[object], Mapping[str, str]], bool] = ran_hushed,
) -> bool:
    """Install Debian's package where that needs no question (root, apt-get there); True where it went well."""
    apt = which("apt-get")
    if not apt or not root():
        return False
    say("Installing Debian's package chromium, for tests in a browser")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    wanted = [apt, "install", "--yes", "--quiet", "--no-install-recommends", "chromium"]
    return run([apt, "update", "--quiet"], quiet) and run(wanted, quiet)


def environment_with_chromium() -> dict[str, str]:
    """Give the environment for the tests; TRUERUN_CHROMIUM names a browser where there is one."""
    chromium = find_chromium(os.environ)
    if not chromium and install_chromium():
        chromium = find_chromium(os.environ)
    if not chromium:
        say(WITHOUT_CHROMIUM)
        return dict(os.environ)
    return {**os.environ, "TRUERUN_CHROMIUM": chromium}


# What can be asked for


def demo(words: list[str]) -> int:
    """Build the demonstration and open it; give its exit code."""
    python = set_up(RUN_LOCK)
    return subprocess.run([str(python), "-m", "truerun", "demo", *words], check=False).returncode


def checks(python: str, words: list[str]) -> dict[str, list[str]]:
    """Give every check of the project with its command, in the order in which they run."""
    linter = "from importlinter.cli import lint_imports_command as lint; lint()"
    return {
        "ruff check": [python, "-m", "ruff", "check", "--quiet"],
        "ruff format --check": [python, "-m", "ruff", "format", "--check", "--quiet"],
        "mypy": [python, "-m", "mypy", "--no-error-summary"],
        "lint-imports": [python, "-c", linter, "--no-logo"],
        "deptry": [python, "-m", "deptry", "src"],
        # the tests of one file stay together: some files tell a story
        "pytest": [python, "-m", "pytest", "-n", "2", "--dist", "loadfile", *words],
    }


def test(words: list[str]) -> int:
    """Run every check, also after one has failed; give 1 and name those that failed, else 0."""
    python = set_up(DEV_LOCK)
    # two processes share the tests; with two threads each, small matrices would wait for one another
    environment = {"OPENBLAS_NUM_THREADS": "1", **environment_with_chromium()}
    failed = []
    for name, command in checks(str(python), words).items():
        say(f"== {name}")
        if not ran(command, environment):
            failed.append(name)
    if failed:
        say(f"Not passed: {', '.join(failed)}. What each said stands above.")
    return 1 if failed else 0


def lock(words: list[str]) -> int:
    """Remake both locks with uv; the run-time lock holds for the other one too. Give 0 where it went well."""
    python = set_up(DEV_LOCK)
    compiled = [python, "-m", "uv", "pip", "compile", "pyproject.toml", "--universal", "--python-version", "3.11"]
    plain = ["--generate-hashes", "--no-header", "--no-annotate", "--quiet", *words]
    for_run = ["--group", "build", "--extra", "spreadsheets", "--output-file", RUN_LOCK.name]
    for_dev = ["--group", "dev", "--all-extras", "--constraint", RUN_LOCK.name, "--output-file", DEV_LOCK.name]
    return 0 if ran([*compiled, *plain, *for_run]) and ran([*compiled, *plain, *for_dev]) else 1


def main(words: list[str]) -> int:
    """Do what the first word asks for; give the exit code (2: not understood, or the machine lacks something)."""
    asked = {"demo": demo, "test": test, "lock": lock}.get(words[0] if words else "")
    if asked is None:
        say("Say what to do:\n" + "\n".join((__doc__ or "").splitlines()[2:5]).replace("``", "  "))
        return 2
    try:
        return asked(words[1:])
    except SetUpImpossible as lack:
        say(str(lack))
        return 2
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
