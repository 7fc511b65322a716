"""The replacement-due list of one site and one night, with what to order; as paper, CSV and JSON."""

from reports.canonical import record_hash
from reports.due_list.exports import due_list_csv, due_list_json, order_list_csv, rows_csv
from reports.due_list.paper import due_list_pdf
from reports.due_list.sheet import DueRow, DueSheet, OrderLine

__all__ = [
    "DueRow",
    "DueSheet",
    "OrderLine",
    "due_list_csv",
    "due_list_json",
    "due_list_pdf",
    "order_list_csv",
    "record_hash",
    "rows_csv",
]
