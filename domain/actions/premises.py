"""What is known of premises from day to day: recording, correcting and ending it, and having it as the law asks for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.intervals import NONE_YET, make_room, refuse_overlap
from domain.actions.law import Law
from domain.actions.recording import Ending, corrected, current, ended, recorded, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import Conflict, NotFound
from domain.records.base import table_of
from domain.records.premises import Premises, PremisesStated
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.law import facts

_DAY = timedelta(days=1)
_site, _premises = table_of(Site), table_of(Premises)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
SITES = Statement(sa.select(_site.c.id, _site.c.jurisdiction).where(_site.c.organisation_id == _organisation_id).order_by(_site.c.id))
"""Every site, closed ones as well: animals may have been there."""
ALL_PREMISES = Statement(
    sa.select(_premises)
    .where(_premises.c.organisation_id == _organisation_id, _premises.c.ended_on.is_(None))
    .order_by(_premises.c.from_on, _premises.c.id)
)


def record_premises(unit: Unit, site_id: UUID, stated: PremisesStated, *, record_id: UUID | None = None) -> Premises:
    """Put on record what is known of a site's premises from a day on, and return it. What was known until then ends the day before.

    Raises:
        RuleBroken: The day from which it holds has not come at the site.
        Conflict: Another record has some of the days, or the site has ended.
    """
    site = _kept_site(unit, site_id)
    refuse_later_than(today_at(unit, site), field="from_on", on=stated.from_on)
    if stated.until_on is None:
        make_room(unit, Premises, from_on=stated.from_on, until_on=None, site_id=site.id)
    else:
        new = Premises.model_construct(id=NONE_YET)
        refuse_overlap(unit, new, from_on=stated.from_on, until_on=stated.until_on, site_id=site.id)
    return recorded(unit, Premises, stated, record_id=record_id, site_id=site.id)


def change_premises(unit: Unit, premises_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Premises:
    """Apply a correction to what is known of premises and return it. What has changed since is another record.

    Raises:
        NotFound: The site has no such record.
        RuleBroken: The day from which it holds has not come at the site.
        Conflict: Another record has some of the days, or the site has ended.
    """
    _of_site(unit, premises_id, owner_id=owner_id)
    found = current(unit, Premises, premises_id, expected_version=expected_version)
    site = _kept_site(unit, owner_id)
    said = merged(PremisesStated, found, patch)
    refuse_later_than(today_at(unit, site), field="from_on", on=said.from_on)
    refuse_overlap(unit, found, from_on=said.from_on, until_on=said.until_on, site_id=site.id)
    return corrected(unit, found, said)


def end_premises(unit: Unit, premises_id: UUID, ending: Ending, *, owner_id: UUID) -> Premises:
    """Take what was entered wrongly of premises out of account and return it. What is over has its ``until_on`` corrected.

    Raises:
        NotFound: The site has no such record.
    """
    found = _of_site(unit, premises_id, owner_id=owner_id)
    return ended(unit, found, ending, today=today_at(unit, unit.fetch(Site, owner_id)))


def _kept_site(unit: Unit, site_id: UUID) -> Site:
    site = unit.fetch_reached(Site, site_id)
    if site.ended_on is not None:
        raise Conflict(f"This site ended on {site.ended_on.isoformat()}; nothing is said of it any more.", code="ended")
    return site


def _of_site(unit: Unit, premises_id: UUID, *, owner_id: UUID) -> Premises:
    site = unit.fetch_reached(Site, owner_id)
    found = unit.fetch(Premises, premises_id)
    if found.site_id != site.id:
        raise NotFound("There is no such premises.")
    return found


class PremisesHistory:
    """The premises of every site on any day, read once: whose law applies there, who keeps animals, and what is known besides."""

    def __init__(self, unit: Unit, law: Law) -> None:
        """Read the sites and what is on record of their premises; jurisdictions are taken as the law on record has them."""
        self._chains: dict[UUID, tuple[str, ...]] = {site_id: () if code is None else law.chain(code) for site_id, code in unit.rows(SITES)}
        self._known: defaultdict[UUID, list[Premises]] = defaultdict(list)
        for one in unit.all(Premises, ALL_PREMISES):
            self._known[one.site_id].append(one)

    def on(self, day: date) -> Mapping[UUID | None, facts.Premises]:
        """Return the premises by site as they were on a day; what is not on record for it is left unknown."""
        return {site_id: _as_asked(site_id, chain, self._known.get(site_id, ()), day) for site_id, chain in self._chains.items()}

    def turning_days(self) -> Iterator[date]:
        """Yield the days from which something about any premises is another than on their eve, some more than once."""
        for known in self._known.values():
            for one in known:
                yield one.from_on
                if one.until_on is not None:
                    yield one.until_on + _DAY


def _as_asked(site_id: UUID, chain: tuple[str, ...], known: Sequence[Premises], day: date) -> facts.Premises:
    found = next((one for one in known if one.from_on <= day and (one.until_on is None or day <= one.until_on)), None)
    if found is None:
        return facts.Premises(site_id=site_id, jurisdictions=chain)
    return facts.Premises(
        site_id=site_id,
        jurisdictions=chain,
        holder_kind=found.holder_kind,
        kinds=None if found.kinds is None else frozenset(found.kinds),
        public_days=found.public_days,
    )
