"""The stock statement of a period: what was there, what came and went, and what was there then; as paper, CSV and JSON."""

from reports.stock_statement.exports import stock_statement_csv, stock_statement_json
from reports.stock_statement.render import stock_statement_pdf
from reports.stock_statement.sheet import MovementEntry, MovementLine, StockLine, StockStatementSheet

__all__ = [
    "MovementEntry",
    "MovementLine",
    "StockLine",
    "StockStatementSheet",
    "stock_statement_csv",
    "stock_statement_json",
    "stock_statement_pdf",
]
