"""How long records are kept, and what is held."""

from __future__ import annotations

from api.bodies.records import Kept, New, Page
from domain.records.base import Stated
from domain.records.columns import Name
from domain.records.retention import LegalHoldStated, RetentionRuleStated


class NewRetentionRule(New, RetentionRuleStated):
    """A rule to be registered: records of a kind are kept so many months after they ended."""


class RetentionRule(Kept, RetentionRuleStated):
    """A rule on file."""


class RetentionRulePage(Page[RetentionRule]):
    """One page of rules."""


class NewHold(New, LegalHoldStated):
    """A hold to be registered: on one record, on every record of a kind, or, without either, on all."""


class Hold(Kept, LegalHoldStated):
    """A hold on file."""


class HoldPage(Page[Hold]):
    """One page of holds."""


class Erasure(Stated):
    """Why a person's particulars are erased."""

    reason: Name
