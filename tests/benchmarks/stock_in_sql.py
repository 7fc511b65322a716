"""The stock of a day and of a year counted by statements of the database's own, written by hand: what the census is measured against."""

from __future__ import annotations

# ruff: noqa: S608 - the statements are put together of the words below

_STATE = """
    animal_state AS s
    JOIN animal AS a ON a.organisation_id = s.organisation_id AND a.id = s.animal_id
"""
_PLACED = """
    LEFT JOIN placement AS p ON p.organisation_id = s.organisation_id AND p.animal_id = s.animal_id AND p.ended_on IS NULL
        AND p.from_on <= {day} AND (p.until_on IS NULL OR p.until_on >= {day})
    LEFT JOIN enclosure AS e ON e.organisation_id = p.organisation_id AND e.id = p.enclosure_id
"""
_HERE = """
    s.organisation_id = {organisation} AND s.ended_on IS NULL AND s.from_on <= {day} AND (s.until_on IS NULL OR s.until_on >= {day})
    AND s.status NOT IN ('dead', 'departed', 'merged')
"""
_NUMBER = """
    CASE WHEN a.grouping <> 'group' THEN 1 ELSE (SELECT sum(v.change) FROM animal_event AS v WHERE v.organisation_id = s.organisation_id
        AND v.animal_id = s.animal_id AND v.ended_on IS NULL AND v.happened_on <= {day}) END
"""
"""One for a single animal, since only those that are here are counted; of a group the sum of its events."""
CENSUS = (
    "SELECT e.site_id, a.taxon_id, s.sex, s.life_stage, s.status, sum(" + _NUMBER + "), count(*) FROM " + _STATE + _PLACED
    + " WHERE " + _HERE + " GROUP BY 1, 2, 3, 4, 5"
)  # fmt: skip
"""How many animals in how many records, by site, taxon, sex, stage and status, at the end of {day}."""

STOCK = "SELECT a.taxon_id, s.sex, s.life_stage, sum(" + _NUMBER + ") FROM " + _STATE + " WHERE " + _HERE + " GROUP BY 1, 2, 3"
"""How many animals by taxon, sex and stage at the end of {day}."""
STOCK_AT_SITE = (
    "SELECT a.taxon_id, s.sex, s.life_stage, sum(" + _NUMBER + ") FROM " + _STATE + _PLACED.replace("LEFT JOIN", "JOIN")
    + " WHERE e.site_id = {site} AND " + _HERE + " GROUP BY 1, 2, 3"
)  # fmt: skip

_HAPPENED = """
    animal_event AS v
    JOIN animal AS a ON a.organisation_id = v.organisation_id AND a.id = v.animal_id
    JOIN animal_state AS s ON s.organisation_id = v.organisation_id AND s.animal_id = v.animal_id AND s.ended_on IS NULL
        AND s.from_on <= v.happened_on AND (s.until_on IS NULL OR s.until_on >= v.happened_on)
"""
_IN_YEAR = "v.organisation_id = {organisation} AND v.ended_on IS NULL AND v.happened_on BETWEEN {first} AND {last} AND v.change <> 0"
EVENTS = (
    "SELECT a.taxon_id, s.sex, s.life_stage, v.kind, v.change > 0, sum(v.change) FROM " + _HAPPENED + " WHERE " + _IN_YEAR
    + " GROUP BY 1, 2, 3, 4, 5"
)  # fmt: skip
"""By how much events from {first} to {last} changed the numbers, by taxon, sex, stage and kind, increases and decreases apart."""
EVENTS_AT_SITE = (
    "SELECT a.taxon_id, s.sex, s.life_stage, v.kind, v.change > 0, sum(v.change) FROM " + _HAPPENED
    + _PLACED.replace("LEFT JOIN", "JOIN").replace("{day}", "v.happened_on")
    + " WHERE e.site_id = {site} AND " + _IN_YEAR + " GROUP BY 1, 2, 3, 4, 5"
)  # fmt: skip

_BEFORE = """
    (SELECT coalesce(sum(v.change), 0) FROM animal_event AS v WHERE v.organisation_id = {of}.organisation_id
        AND v.animal_id = {of}.animal_id AND v.ended_on IS NULL AND v.happened_on < {on})
"""
_TURNED = """
    animal_state AS s
    JOIN animal_state AS b ON b.organisation_id = s.organisation_id AND b.animal_id = s.animal_id AND b.ended_on IS NULL
        AND b.until_on = {eve_of_state} AND (b.sex <> s.sex OR b.life_stage <> s.life_stage)
    JOIN animal AS a ON a.organisation_id = s.organisation_id AND a.id = s.animal_id
"""
_TURNED_IN_YEAR = "s.organisation_id = {organisation} AND s.ended_on IS NULL AND s.from_on BETWEEN {first} AND {last}"
_TURNS = (
    "SELECT a.taxon_id, b.sex, b.life_stage, s.sex, s.life_stage, sum(CASE WHEN a.grouping = 'group' THEN "
    + _BEFORE.format(of="s", on="s.from_on")
    + " WHEN b.status IN ('dead', 'departed', 'merged') THEN 0 ELSE 1 END) FROM " + _TURNED
)  # fmt: skip
TURNED = _TURNS + " WHERE " + _TURNED_IN_YEAR + " GROUP BY 1, 2, 3, 4, 5"
"""How many animals became of another sex or stage, by taxon, sex and stage before and since."""
TURNED_AT_SITE = (
    _TURNS + _PLACED.replace("{day}", "{eve_of_state}")
    + " WHERE e.site_id IS NOT DISTINCT FROM {site} AND " + _TURNED_IN_YEAR + " GROUP BY 1, 2, 3, 4, 5"
)  # fmt: skip
"""Said so that SQLite begins with the few that turned and not with all that were at the site."""

_AT_SITE = "SELECT id FROM enclosure WHERE organisation_id = {organisation} AND site_id = {site}"
_STATE_ON = """
    JOIN animal AS a ON a.organisation_id = p.organisation_id AND a.id = p.animal_id
    JOIN animal_state AS s ON s.organisation_id = p.organisation_id AND s.animal_id = p.animal_id AND s.ended_on IS NULL
        AND s.from_on <= {on} AND (s.until_on IS NULL OR s.until_on >= {on})
"""
_MOVED = """
    CASE WHEN a.grouping = 'group' OR s.from_on >= {on} THEN {before} WHEN s.status IN ('dead', 'departed', 'merged') THEN 0 ELSE 1 END
"""
CAME_TO_SITE = (
    "SELECT a.taxon_id, s.sex, s.life_stage, sum("
    + _MOVED.format(on="p.from_on", before=_BEFORE.format(of="p", on="p.from_on")) + ") FROM placement AS p"
    + _STATE_ON.format(on="p.from_on")
    + """
    WHERE p.organisation_id = {organisation} AND p.ended_on IS NULL AND p.from_on BETWEEN {first} AND {last}
    AND p.enclosure_id IN (""" + _AT_SITE + """)
    AND NOT EXISTS (SELECT 1 FROM placement AS o WHERE o.organisation_id = p.organisation_id AND o.animal_id = p.animal_id
        AND o.ended_on IS NULL AND o.until_on = {eve_of_placement} AND o.enclosure_id IN (""" + _AT_SITE + """))
    GROUP BY 1, 2, 3"""
)  # fmt: skip
LEFT_SITE = (
    "SELECT a.taxon_id, s.sex, s.life_stage, sum("
    + _MOVED.format(on="{morrow_of_placement}", before=_BEFORE.format(of="p", on="{morrow_of_placement}")) + ") FROM placement AS p"
    + _STATE_ON.format(on="{morrow_of_placement}")
    + """
    WHERE p.organisation_id = {organisation} AND p.ended_on IS NULL AND p.until_on BETWEEN {eve_of_first} AND {eve_of_last}
    AND p.enclosure_id IN (""" + _AT_SITE + """)
    AND NOT EXISTS (SELECT 1 FROM placement AS o WHERE o.organisation_id = p.organisation_id AND o.animal_id = p.animal_id
        AND o.ended_on IS NULL AND o.from_on = {morrow_of_placement} AND o.enclosure_id IN (""" + _AT_SITE + """))
    GROUP BY 1, 2, 3"""
)  # fmt: skip
"""How many animals came to a site that were not there the day before, and left one and were not there on the day after."""

SQLITE = {
    "organisation": ":organisation_id", "site": ":site_id", "day": ":day", "first": ":first", "last": ":last",
    "eve_of_first": "date(:first, '-1 day')", "eve_of_last": "date(:last, '-1 day')", "eve_of_state": "date(s.from_on, '-1 day')",
    "eve_of_placement": "date(p.from_on, '-1 day')", "morrow_of_placement": "date(p.until_on, '+1 day')",
}  # fmt: skip
POSTGRESQL = {
    "organisation": "%(organisation_id)s", "site": "%(site_id)s", "day": "%(day)s::date", "first": "%(first)s::date",
    "last": "%(last)s::date", "eve_of_first": "%(first)s::date - 1", "eve_of_last": "%(last)s::date - 1",
    "eve_of_state": "s.from_on - 1", "eve_of_placement": "p.from_on - 1", "morrow_of_placement": "p.until_on + 1",
}  # fmt: skip
"""What stands in the braces, for each database."""


def written(statement: str, words: dict[str, str]) -> str:
    """Return a statement as one database takes it."""
    return statement.format(**words)
