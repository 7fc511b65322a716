"""The same due dates by one statement of the database's own: what the forecast is measured against."""

from __future__ import annotations

from domain.records.engine import sqlite_driver

_KEPT_AT_SITE = """
    FROM equipment AS item
    JOIN equipment_model AS model ON model.organisation_id = item.organisation_id AND model.id = item.model_id
    WHERE item.organisation_id = {organisation} AND item.site_id = {site}
        AND (item.ended_on IS NULL OR item.ended_on > '2026-03-01') AND (item.installed_on IS NULL OR item.installed_on <= '2026-03-01')
"""
"""In service on the day that the benchmarks judge by."""

POSTGRES_DUE_DATES = """
    SELECT item.id, model.warn_days,
        least(
            (item.installed_on + model.life_months * interval '1 month')::date,
            item.installed_on + coalesce(model.life_weeks * 7, model.life_days),
            CASE WHEN item.hours_per_day > 0
                THEN item.installed_on + floor((model.life_hours + 1e-6) / item.hours_per_day)::integer END
        ) AS due_on,
        ((model.life_months IS NOT NULL OR model.life_weeks IS NOT NULL) AND item.installed_on IS NULL)
            OR (model.life_hours IS NOT NULL AND (item.installed_on IS NULL OR item.hours_per_day IS NULL)) AS undecided
    """ + _KEPT_AT_SITE.format(organisation="%(organisation_id)s", site="%(site_id)s")
"""PostgreSQL's intervals keep the last-day rule by themselves."""

_LAST_DAY_RULE = (
    "date(item.installed_on, model.life_months || ' months', 'floor')"
    if sqlite_driver().sqlite_version_info >= (3, 46)
    else "min(date(item.installed_on, model.life_months || ' months'), "
    "date(item.installed_on, 'start of month', (model.life_months + 1) || ' months', '-1 day'))"
)
"""SQLite makes 31 January and a month 3 March, unless it is told to stop at the month's last day; older libraries have no word for that."""

SQLITE_DUE_DATES = f"""
    SELECT item.id, model.warn_days,
        nullif(min(
            coalesce({_LAST_DAY_RULE}, '9999'),
            coalesce(date(item.installed_on, coalesce(model.life_weeks * 7, model.life_days) || ' days'), '9999'),
            coalesce(CASE WHEN item.hours_per_day > 0
                THEN date(item.installed_on, CAST((model.life_hours + 1e-6) / item.hours_per_day AS INTEGER) || ' days') END, '9999')
        ), '9999') AS due_on,
        ((model.life_months IS NOT NULL OR model.life_weeks IS NOT NULL) AND item.installed_on IS NULL)
            OR (model.life_hours IS NOT NULL AND (item.installed_on IS NULL OR item.hours_per_day IS NULL)) AS undecided
    """ + _KEPT_AT_SITE.format(organisation=":organisation_id", site=":site_id")

POSTGRES_SUMS = f"SELECT count(due_on), sum(due_on - date '1970-01-01') FROM ({POSTGRES_DUE_DATES}) AS due"  # noqa: S608 - own words
SQLITE_SUMS = f"SELECT count(due_on), CAST(sum(julianday(due_on) - 2440587.5) AS INTEGER) FROM ({SQLITE_DUE_DATES}) AS due"  # noqa: S608
"""How many items have a due date, and the sum of these dates as days since 1970-01-01."""

POSTGRES_KEPT = f"CREATE TEMPORARY TABLE kept AS SELECT id, due_on FROM ({POSTGRES_DUE_DATES}) AS due"  # noqa: S608 - own words
SQLITE_KEPT = f"CREATE TEMPORARY TABLE kept AS SELECT id, due_on FROM ({SQLITE_DUE_DATES}) AS due"  # noqa: S608 - own words
"""Every item's due date by its id, kept for whoever asks next, as a forecast is."""

_STANDINGS = """
    SELECT CASE WHEN due_on < {today} THEN 'overdue' WHEN due_on = {today} THEN 'due' WHEN undecided THEN 'unknown'
        WHEN {warned} <= {today} THEN 'due_soon' ELSE 'good' END AS standing, count(*)
    FROM ({due_dates}) AS due GROUP BY 1
"""
POSTGRES_STANDINGS = _STANDINGS.format(today="%(today)s::date", warned="due_on - warn_days", due_dates=POSTGRES_DUE_DATES)
SQLITE_STANDINGS = _STANDINGS.format(today=":today", warned="date(due_on, -warn_days || ' days')", due_dates=SQLITE_DUE_DATES)
"""How many items are in each standing."""
