"""Rule packs: the law of some jurisdictions as one document states it, and whether it can be taken beside what is on record.

What is on record of a requirement stays as it is, so that no past answer changes: a later pack adds versions, and says the last day of one
that had none, which has not gone by. Jurisdictions and kinds of documents are corrected by a later pack of the same name, but for where a
jurisdiction lies and until when documents are good: past answers rest on that. A pack that says why it is a correction may change these.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date

from domain.errors import Fault
from domain.rules.law.jurisdictions import Jurisdiction, chain, fault_of_code, fault_of_parent
from domain.rules.law.requirements import Requirement
from domain.rules.law.soundness import faults_of, kinds_named
from domain.rules.permits import DocumentKind

Version = tuple[str, str]
"""The code of a requirement and its version, or the name of a pack and its version."""


_OF_VALIDITY = ("lasts", "starts", "ends_with", "for_one_consignment", "counted_stages")
"""What a kind of document says of until when, and for which animals, documents are good."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RulePack:
    """The law of some jurisdictions, all of them fictional or none, from the text ``source``, of which ``digest`` is the SHA-256.

    ``correction`` is why it changes what past answers rest on, ``None`` where it may not.
    """

    name: str
    version: str
    title: str
    fictional: bool
    digest: str
    source: str
    correction: str | None = None
    jurisdictions: tuple[Jurisdiction, ...] = ()
    kinds: tuple[DocumentKind, ...] = ()
    requirements: tuple[Requirement, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRecord:
    """What is on record before a pack: digests by pack, the rest by code, and which packs, by name, jurisdictions and kinds are of."""

    digests: Mapping[Version, str] = field(default_factory=dict)
    jurisdictions: Mapping[str, Jurisdiction] = field(default_factory=dict)
    kinds: Mapping[str, DocumentKind] = field(default_factory=dict)
    requirements: Mapping[Version, Requirement] = field(default_factory=dict)
    pack_of_jurisdiction: Mapping[str, str] = field(default_factory=dict)
    pack_of_kind: Mapping[str, str] = field(default_factory=dict)

    def holds(self, pack: RulePack) -> bool:
        """Return whether this very pack is on record."""
        return self.digests.get((pack.name, pack.version)) == pack.digest

    def with_pack(self, pack: RulePack) -> OnRecord:
        """Return what is on record once a pack has been taken."""
        return OnRecord(
            digests={**self.digests, (pack.name, pack.version): pack.digest},
            jurisdictions={**self.jurisdictions, **{one.code: one for one in pack.jurisdictions}},
            kinds={**self.kinds, **{one.code: one for one in pack.kinds}},
            requirements={**self.requirements, **{(one.code, one.version): one for one in pack.requirements}},
            pack_of_jurisdiction={**self.pack_of_jurisdiction, **{one.code: pack.name for one in pack.jurisdictions}},
            pack_of_kind={**self.pack_of_kind, **{one.code: pack.name for one in pack.kinds}},
        )


def faults_in(pack: RulePack, known: OnRecord, *, today: date) -> list[Fault]:
    """Return what is wrong with a pack beside what is on record, on the day on which it is taken.

    The pointers lead to the tables and keys of its TOML.
    """
    if known.holds(pack):
        return []
    after = known.with_pack(pack)
    return [
        *_faults_of_pack(pack, known),
        *_faults_of_jurisdictions(pack, known, after),
        *_faults_of_kinds(pack, known, after),
        *_faults_of_requirements(pack, known, after),
        *(_changes_of_the_past(pack, known, today=today) if pack.correction is None else ()),
    ]


def _changes_of_the_past(pack: RulePack, known: OnRecord, *, today: date) -> Iterator[Fault]:
    """Yield what is stated otherwise than it is on record and would change answers about days that have gone by."""
    for place, one in enumerate(pack.jurisdictions):
        before = known.jurisdictions.get(one.code)
        if before is not None and one.parent_code != before.parent_code:
            yield _of_the_past(f"/jurisdiction/{place}/parent", f"On record, {one.code} lies in {before.parent_code or 'no other place'}")
    for place, kind in enumerate(pack.kinds):
        recorded = known.kinds.get(kind.code)
        for name in _OF_VALIDITY if recorded is not None else ():
            if getattr(kind, name) != getattr(recorded, name):
                yield _of_the_past(f"/document_kind/{place}/{name}", f"On record, {kind.code} says something else here")
    for place, rule in enumerate(pack.requirements):
        version = known.requirements.get((rule.code, rule.version))
        if version is not None and version.applies_until is None and rule.applies_until is not None and rule.applies_until < today:
            sentence = f"On record, version {rule.version} of {rule.code} has no last day, and this one has gone by"
            yield _of_the_past(f"/requirement/{place}/applies_until", sentence)


def _of_the_past(at: str, sentence: str) -> Fault:
    way = "if what is on record was wrong, say why in the pack's correction"
    return Fault(at, "changes-the-past", f"{sentence}: answers about past days rest on that; {way}.")


def _faults_of_pack(pack: RulePack, known: OnRecord) -> Iterator[Fault]:
    if (pack.name, pack.version) in known.digests:
        yield Fault("/pack/version", "on-record", f"{pack.name} {pack.version} is on record with another text: state a new version.")


def _faults_of_jurisdictions(pack: RulePack, known: OnRecord, after: OnRecord) -> Iterator[Fault]:
    yield from _twice([one.code for one in pack.jurisdictions], "/jurisdiction/{}/code")
    for place, one in enumerate(pack.jurisdictions):
        at = f"/jurisdiction/{place}"
        if (sentence := fault_of_code(one)) is not None:
            yield Fault(f"{at}/code", "code-unfit", sentence)
        elif (sentence := fault_of_parent(one, after.jurisdictions)) is not None:
            yield Fault(f"{at}/parent", "parent-unfit", sentence)
        if one.fictional is not pack.fictional:
            yield Fault(f"{at}/fictional", "not-together", "A pack is fictional as a whole, or not at all.")
        yield from _of_another(pack, known.pack_of_jurisdiction.get(one.code), one.code, f"{at}/code")


def _faults_of_kinds(pack: RulePack, known: OnRecord, after: OnRecord) -> Iterator[Fault]:
    yield from _twice([one.code for one in pack.kinds], "/document_kind/{}/code")
    for place, one in enumerate(pack.kinds):
        at = f"/document_kind/{place}"
        yield from _unknown_place(one.jurisdiction, pack, after, at)
        yield from _of_another(pack, known.pack_of_kind.get(one.code), one.code, f"{at}/code")


def _faults_of_requirements(pack: RulePack, known: OnRecord, after: OnRecord) -> Iterator[Fault]:
    yield from _twice([f"{one.code} {one.version}" for one in pack.requirements], "/requirement/{}/version")
    versions = _versions(after.requirements.values())
    own = {(one.code, one.version) for one in pack.requirements}
    packs = {code: one.pack for (code, _), one in known.requirements.items()}
    for place, one in enumerate(pack.requirements):
        at = f"/requirement/{place}"
        yield from _unknown_place(one.jurisdiction, pack, after, at)
        yield from faults_of(one, at=at)
        yield from _of_another(pack, packs.get(one.code), one.code, f"{at}/code")
        yield from _changed(one, known.requirements.get((one.code, one.version)), at)
        yield from _overlapping(one, versions[one.code], own, at)
        yield from (
            Fault(f"{at}/{within}", "reference-unknown", f"There is no kind of document {code}.")
            for within, code in kinds_named(one)
            if code not in after.kinds
        )
        for code in sorted(one.exempts):
            yield from _exempted(one, versions.get(code, ()), after, code=code, at=f"{at}/exempts")


def _exempted(one: Requirement, versions: Sequence[Requirement], after: OnRecord, *, code: str, at: str) -> Iterator[Fault]:
    """Yield that a requirement cannot exempt from another: there is none, they never apply together, or it is of a higher place."""
    if not versions or code == one.code:
        yield Fault(at, "reference-unknown", f"There is no other requirement {code} that it could exempt from.")
        return
    together = [other for other in versions if _share_days(one, other)]
    if not together:
        yield Fault(at, "never-together", f"On no day on which it applies does any version of {code} apply.")
    for place in dict.fromkeys(other.jurisdiction for other in together):
        if one.jurisdiction not in chain(after.jurisdictions, place):
            sentence = f"{code} is law of {place}, and {one.jurisdiction} does not lie above that: its law exempts from none of there."
            yield Fault(at, "of-higher-place", sentence)


def _unknown_place(code: str, pack: RulePack, after: OnRecord, at: str) -> Iterator[Fault]:
    found = after.jurisdictions.get(code)
    if found is None:
        yield Fault(f"{at}/jurisdiction", "reference-unknown", f"There is no jurisdiction {code}.")
    elif found.fictional is not pack.fictional:
        yield Fault(f"{at}/jurisdiction", "not-together", "A pack is fictional as a whole, or not at all.")


def _of_another(pack: RulePack, owner: str | None, code: str, at: str) -> Iterator[Fault]:
    if owner is not None and owner != pack.name:
        yield Fault(at, "of-another-pack", f"{code} is stated by the pack {owner}, and by no other.")


def _changed(one: Requirement, recorded: Requirement | None, at: str) -> Iterator[Fault]:
    """Yield that a version is on record otherwise, unless all that is new is its last day, which it had none of."""
    if recorded is None or one.pack != recorded.pack or one == recorded:
        return
    if recorded.applies_until is None and replace(one, applies_until=None) == recorded:
        return
    differing = [each.name for each in fields(one) if getattr(one, each.name) != getattr(recorded, each.name)]
    yield Fault(
        f"{at}/version",
        "on-record",
        f"{one.code} {one.version} is on record, and what is on record stays as it is: state a new version "
        f"(another {', '.join(name.replace('_', ' ') for name in differing)}).",
    )


def _versions(requirements: Iterable[Requirement]) -> Mapping[str, list[Requirement]]:
    found: dict[str, list[Requirement]] = {}
    for one in sorted(requirements, key=lambda each: (each.applies_from, each.version)):
        found.setdefault(one.code, []).append(one)
    return found


def _overlapping(one: Requirement, versions: Iterable[Requirement], own: Container[Version], at: str) -> Iterator[Fault]:
    """Yield each version of the code that applies on one of its days; of two in ``own``, those of the pack, the later one is at fault."""
    is_later = False
    for other in versions:
        if other.version == one.version:
            is_later = True
        elif (not is_later or (other.code, other.version) not in own) and _share_days(one, other):
            until = "without a last day" if other.applies_until is None else f"until {other.applies_until.isoformat()}"
            sentence = f"Version {other.version} of {one.code} applies from {other.applies_from.isoformat()} {until}"
            yield Fault(f"{at}/applies_from", "overlap", f"{sentence}: on no day do two versions apply.")


def _share_days(one: Requirement, other: Requirement) -> bool:
    first, second = sorted((one, other), key=lambda each: each.applies_from)
    return first.applies_until is None or first.applies_until >= second.applies_from


def _twice(codes: list[str], at: str) -> Iterator[Fault]:
    for place, code in enumerate(codes):
        if code in codes[:place]:
            yield Fault(at.format(place), "repeated", f"{code} stands here twice.")
