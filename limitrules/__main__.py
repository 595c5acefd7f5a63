"""Lets ``python -m limitrules`` do what the command does."""

import sys

from limitrules.cli import main

if __name__ == "__main__":
    sys.exit(main())
