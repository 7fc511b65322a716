"""The transfer file as JSON: what lies in its PDF as well, and what another installation reads."""

from reports.canonical import canonical_json
from reports.transfer_file.sheet import TransferFileSheet


def transfer_file_json(sheet: TransferFileSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)
