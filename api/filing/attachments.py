"""What a PDF has attached: it is opened in a process of its own, so that a hostile file harms nobody but that process."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from api.filing import opened_pdf
from api.filing.opened_pdf import FILE_MOST, UNPACKED_MOST, Seal, Why
from api.settings import MEGABYTE
from domain.errors import RuleBroken

WITHIN_S = 20.0
"""How long the process may take, whatever it does [s]; of processor time it has less."""
_SENTENCES: Mapping[Why, tuple[str, str]] = {
    Why.ENCRYPTED: ("pdf-encrypted", "This PDF is encrypted. Ask the sender for the file as it was made."),
    Why.NOTHING: ("no-transfer-file", "This PDF is no transfer file: it has none attached. Ask the sender for the file as it was made."),
    Why.SEVERAL: ("attached-twice", "This PDF has more than one transfer file attached; nobody can say which of them counts."),
    Why.TOO_LARGE: (
        "file-too-large",
        f"A transfer file has at most {FILE_MOST / MEGABYTE:g} MB, and unpacked its attachment {UNPACKED_MOST / MEGABYTE:g} MB.",
    ),
    Why.UNREADABLE: ("pdf-unreadable", "This PDF cannot be read; it may have been damaged on its way. Ask the sender to send it anew."),
}


@dataclass(frozen=True, slots=True)
class Found:
    """What was attached, and what is known of the file's seal: intact, it was sealed with the certificate of this digest."""

    content: bytes
    seal: Seal
    sealed_with: str | None


def attachment_in(pdf: bytes, *, name: str, within_s: float = WITHIN_S) -> Found:
    """Return what a PDF has attached under a name. Blocks, for as long as ``within_s`` [s]: call it in a thread.

    Raises:
        RuleBroken: Nothing can be taken from it, or it was changed since it was sealed.
    """
    command = [sys.executable, "-I", "-B", str(Path(opened_pdf.__file__)), name]
    try:
        done = subprocess.run(  # noqa: S603 - our own program and a name of ours; the file is only its input
            command, input=pdf, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=_environment(), timeout=within_s, check=False
        )
    except subprocess.TimeoutExpired:
        raise _refused(Why.UNREADABLE) from None
    head, _, content = done.stdout.partition(b"\n")
    if done.returncode != 0 or not head:
        raise _refused(Why.UNREADABLE)
    said = json.loads(head)
    if "refused" in said:
        raise _refused(Why(said["refused"]))
    if said["seal"] == Seal.BROKEN:
        sentence = "This file was changed since it was sealed. Nothing of it is taken; ask the sender for the file as it was issued."
        raise RuleBroken(sentence, code="seal-broken", field="document_id")
    return Found(content, Seal(said["seal"]), said["sealed_with"])


def _environment() -> dict[str, str]:
    """Return nothing of this process's environment but what Windows needs to start another."""
    return {name: os.environ[name] for name in ("SYSTEMROOT",) if name in os.environ}


def _refused(why: Why) -> RuleBroken:
    code, sentence = _SENTENCES[why]
    return RuleBroken(sentence, code=code, field="document_id")
