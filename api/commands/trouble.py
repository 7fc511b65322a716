"""What a command says when it cannot go on."""

from __future__ import annotations


class Trouble(Exception):  # noqa: N818 - said to the person at the terminal, not a defect
    """Something that stops a command, said so that the person at the terminal can mend it."""
