"""``python -m truerun`` is the command ``truerun``."""

import sys

from truerun.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
