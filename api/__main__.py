"""``reedbed``: the command line is loaded, and does what it says."""

import gc
import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what a command line says and return the exit status."""
    # What is loaded stays, so that looking for garbage among it meanwhile takes long and finds nothing.
    gc.disable()
    from api import command_line  # noqa: PLC0415 - all else is loaded here

    gc.enable()
    return command_line.main(arguments)


if __name__ == "__main__":
    sys.exit(main())
