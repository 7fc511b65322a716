"""The file that travels with animals: what is open, marks to read back, papers, care, cautions, and lines to hand over on."""

from reports.transfer_file.exports import transfer_file_json
from reports.transfer_file.render import transfer_file_pdf
from reports.transfer_file.sheet import TransferFileSheet

__all__ = ["TransferFileSheet", "transfer_file_json", "transfer_file_pdf"]
