"""The stock statement as separated text and as JSON."""

from dataclasses import asdict

from domain.rules.stock import COLUMNS
from reports.canonical import canonical_json
from reports.separated import separated
from reports.stock_statement.sheet import StockLine, StockStatementSheet

_what = ("scientific_name", "common_name", "sex", "life_stage")


def stock_statement_csv(sheet: StockStatementSheet) -> bytes:
    """Return the lines of the statement with all their columns, what was reckoned, and whether the sum is right."""
    return separated(("from_on", "until_on", *_what, *COLUMNS, "reckoned", "balances"), (_row(sheet, line) for line in sheet.lines))


def stock_statement_json(sheet: StockStatementSheet) -> bytes:
    """Return the whole sheet as canonical JSON, the bytes that ``record_hash`` is taken of."""
    return canonical_json(sheet)


def _row(sheet: StockStatementSheet, line: StockLine) -> tuple[object, ...]:
    account = line.account
    numbers = asdict(account)
    named = (line.scientific_name, line.common_name, line.sex.value, line.life_stage.value)
    return (sheet.from_on, sheet.until_on, *named, *(numbers[name] for name in COLUMNS), account.reckoned, account.balances)
