"""How a vector's inputs are put to the rules. Nothing is computed here: names are matched, units converted, answers worded alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np

from domain.errors import Unfit
from domain.rules import volumes
from domain.rules.calendar import (
    as_date,
    as_days,
    elapsed_hours,
    instant_at_site,
    occurrence_dates,
    occurrences,
    zone_named,
)
from domain.rules.country_codes import is_user_assigned
from domain.rules.law.decision import Bearing, Outcome
from domain.rules.law.facts import Premises
from domain.rules.law.requirements import Activity
from domain.rules.law.spans import Span, Unit, day_after, span_of
from domain.rules.permits import DocumentKind, Permit, renew_by, valid_until
from domain.rules.run_hours import RunPeriod, constant, days_until_used
from domain.rules.service_life import due_on, one_item
from domain.rules.transponders import TransponderCode, read_code
from tests.law_in_force import decided, last_day_permitted, millimetres

Inputs = Mapping[str, Any]

_TO_CANONICAL = {"m": 1.0, "m2": 1.0, "L": 1.0, "1": 1.0, "h": 1.0, "h/d": 1.0, "g": 1.0, "kg": 1000.0, "g/L": 1.0}
"""How many canonical units of the rules (m, m2, L, g, g/L, h, h/day, fraction) one unit of a vector is."""


def number(inputs: Inputs, name: str) -> float:
    """Return a quantity in the unit that the rules take."""
    return in_canonical_unit(inputs[name])


def numbers(inputs: Inputs, name: str) -> list[float]:
    """Return a list of quantities in the unit that the rules take."""
    return [in_canonical_unit(one) for one in inputs[name]]


def in_canonical_unit(quantity: Any) -> float:
    """Return a quantity's value in the unit that the rules take; a bare number is in it already."""
    if not isinstance(quantity, Mapping):
        return float(quantity)
    return float(quantity["value"]) * _TO_CANONICAL[quantity["unit"]]


def day(inputs: Inputs, name: str) -> date:
    """Return a date."""
    return date.fromisoformat(inputs[name])


def local_times(inputs: Inputs) -> list[datetime]:
    """Return the wall-clock times among the inputs, earliest first, whatever they are called."""
    texts = [value for value in inputs.values() if isinstance(value, str)]
    return sorted(datetime.fromisoformat(text) for text in texts if _is(datetime.fromisoformat, text))


def zone(inputs: Inputs) -> str:
    """Return the one input that is an IANA zone, whatever it is called."""
    (found,) = [value for value in inputs.values() if isinstance(value, str) and _is(zone_named, value)]
    return str(found)


def _is(read: Callable[[str], object], text: str) -> bool:
    try:
        read(text)
    except ValueError:
        return False
    return True


def _crossing(inputs: Inputs) -> str:
    remaining_h = number(inputs, "crossing_hours") - number(inputs, "now_hours")
    pieces = constant(np.array([number(inputs, "hours_per_day")]))
    return as_date(days_until_used(as_days([day(inputs, "today")]), np.array([remaining_h]), pieces)[0]).isoformat()


def _lamp_life(inputs: Inputs) -> dict[str, object]:
    installed_on = day(inputs, "installed")
    schedule = (RunPeriod(None, number(inputs, "hours_per_day")),)
    due = due_on(one_item(installed_on=installed_on, life_hours=number(inputs, "lamp_life"), schedule=schedule))
    if due is None:
        raise ValueError("the lamp has no due date")
    return {"days": (due - installed_on).days, "due": due.isoformat()}


def _valid_until(inputs: Inputs, name: str, lasts: Span) -> str | None:
    """Return the last day of a document of a kind that lasts a span, issued on the day of that name."""
    kind = DocumentKind(code="c", jurisdiction="XR", title="t", lasts=lasts)
    permit = Permit(id=UUID(int=1), kind="c", jurisdiction="XR", issued_on=day(inputs, name), valid_from=day(inputs, name))
    last = valid_until(permit, kind)
    return last.isoformat() if last else None


def _apply_by(inputs: Inputs) -> str | None:
    kind = DocumentKind(code="c", jurisdiction="XR", title="t", renewal_lead=Span(int(number(inputs, "lead_months")), Unit.MONTHS))
    begun = date(day(inputs, "expiry").year - 6, 1, 1)
    permit = Permit(id=UUID(int=1), kind="c", jurisdiction="XR", issued_on=begun, valid_from=begun, last_day=day(inputs, "expiry"))
    found = renew_by(permit, kind)
    return found.isoformat() if found else None


_DELAYED = """
listed_on = 2022-08-02
applies_from = 2022-08-02
taxa = [{{ name = "{taxon}", rank = "species", applies_from = 2024-08-02 }}]
"""


def _applicability(inputs: Inputs) -> list[str]:
    words = {Bearing.PROHIBITS: "applicable", Bearing.NOT_YET: "not_yet_applicable"}
    rows = _DELAYED.format(taxon=inputs["taxon"])
    decisions = [decided(rows, on=date.fromisoformat(on), taxon=inputs["taxon"]) for on in inputs["query_dates"]]
    return [words[one.bearing] for decision in decisions for one in decision.findings]


_RUNNING_OFF = """
applies_from = {listed}
taxa = [{{ name = "Testudo ficta", rank = "species" }}]
[[requirement.exemption]]
code = "to-institutions"
activities = ["give"]
until = {two_years}
[[requirement.exemption.when]]
fact = "acquired_on"
before = {listed}
[[requirement.exemption]]
code = "to-the-public"
activities = ["sell"]
until = {one_year}
[[requirement.exemption.when]]
fact = "acquired_on"
before = {listed}
"""


def _run_off(inputs: Inputs) -> dict[str, str]:
    """Return until when stock of before the listing may be passed on, by rows that state two years and one."""
    listed = day(inputs, "listed")
    one_year, two_years = (day_after(listed, span_of(text)) for text in ("P1Y", "P2Y"))
    rows = _RUNNING_OFF.format(listed=listed, one_year=one_year, two_years=two_years)
    before = listed - timedelta(days=1)
    last = {
        "transfer_to_institutions_until": last_day_permitted(rows, activity=Activity.GIVE, acquired_on=before, from_on=listed),
        "sale_to_noncommercial_until": last_day_permitted(rows, activity=Activity.SELL, acquired_on=before, from_on=listed),
    }
    return {name: on.isoformat() for name, on in last.items()}


def _open_enough(inputs: Inputs) -> bool:
    rows = f'applies_from = 2020-01-01\n[[requirement.when]]\nfact = "public_days"\nat_least = {inputs["threshold"]}\n'
    premises = Premises(jurisdictions=("XR",), public_days=inputs["public_open_days_in_rolling_12_months"])
    return decided(rows, premises=premises).outcome is Outcome.PROHIBITED


def _too_small(inputs: Inputs) -> bool:
    limit, units = inputs["threshold"], {"[in_i]": "in"}
    asked = f'fact = "straight_carapace_length"\nunder = {limit["value"]}\nunit = "{units[limit["unit"]]}"\nmeasured_within_days = 90'
    rows = f"applies_from = 2020-01-01\n[[requirement.when]]\n{asked}\n"
    return decided(rows, length_mm=millimetres(inputs["straight_carapace_length"])).outcome is Outcome.PROHIBITED


def _instant(inputs: Inputs) -> str:
    (local,) = local_times(inputs)
    return instant_at_site(local, zone(inputs)).isoformat()


def _hours_between(inputs: Inputs) -> float:
    start, end = local_times(inputs)
    return elapsed_hours(start, end, zone=zone(inputs))


def _recurring_instants(inputs: Inputs) -> list[str]:
    (start,) = local_times(inputs)
    return [one.isoformat() for one in occurrences(inputs["rrule"], start_local=start, zone=zone(inputs))]


def _recurring_dates(inputs: Inputs) -> list[str]:
    return [one.isoformat() for one in occurrence_dates(inputs["rrule"], start_on=day(inputs, "dtstart"))]


_WHY_NO_CODE = {"code-length": "length", "code-not-digits": "non_digit", "code-too-large": "id_exceeds_38_bits"}


def _transponder(inputs: Inputs) -> dict[str, object]:
    try:
        found = read_code(inputs["code"])
    except Unfit as refused:
        return {"valid": False, "reason": _WHY_NO_CODE[refused.code]}
    said = {"kind": found.issuer.value, "code": found.digits[:3], "national_id": found.number}
    return {"valid": True, **said, "warn": found.warning is not None}


def _transponder_word(inputs: Inputs) -> str:
    code = TransponderCode(int(inputs["code"]), int(inputs["national_id"]))
    return f"{code.word(animal=bool(inputs['animal_flag'])):016X}"


FORMULAS: dict[str, Callable[[Inputs], object]] = {
    "W-VOL-01": lambda v: volumes.box_l(number(v, "length"), number(v, "width"), number(v, "water_depth")),
    "W-VOL-02": lambda v: volumes.box_from_outside_l(
        number(v, "ext_length"), number(v, "ext_width"), number(v, "water_depth"), wall_m=number(v, "glass")
    ),
    "W-VOL-03": lambda v: volumes.cylinder_l(number(v, "diameter"), number(v, "water_depth")),
    "W-VOL-04": lambda v: volumes.stadium_l(number(v, "length"), number(v, "width"), number(v, "water_depth")),
    "W-VOL-05": lambda v: volumes.ellipse_l(number(v, "length"), number(v, "width"), number(v, "water_depth")),
    "W-VOL-06": lambda v: volumes.truncated_cone_l(number(v, "top_diameter"), number(v, "bottom_diameter"), number(v, "water_depth")),
    "W-VOL-07": lambda v: volumes.sloping_floor_l(
        number(v, "length"), number(v, "width"), number(v, "depth_shallow"), number(v, "depth_deep")
    ),
    "W-VOL-08": lambda v: volumes.sloped_pond_l(
        number(v, "top_length"),
        number(v, "top_width"),
        number(v, "depth"),
        run_per_rise=number(v, "side_slope_run_per_rise"),
    ),
    "W-VOL-09": lambda v: volumes.contours_l(numbers(v, "areas"), interval_m=number(v, "contour_interval")),
    "W-VOL-10": lambda v: volumes.cross_sections_l(numbers(v, "areas"), spacing_m=number(v, "spacing")),
    "W-VOL-11": lambda v: volumes.sounded_pond_l(number(v, "surface_area"), numbers(v, "depths")),
    "W-VOL-12": lambda v: volumes.lying_cylinder_l(number(v, "diameter"), number(v, "length"), number(v, "water_depth")),
    "W-VOL-13": lambda v: volumes.net_of_furnishing_l(number(v, "gross"), number(v, "displacement_fraction")),
    "W-VOL-14": lambda v: volumes.volume_by_tracer_l(
        number(v, "salt_mass"),
        salinity_before_g_per_l=number(v, "salinity_before"),
        salinity_after_g_per_l=number(v, "salinity_after"),
    ),
    "C-DATE-01": lambda v: _valid_until(v, "start", Span(int(number(v, "months")), Unit.MONTHS)),
    "C-DATE-02": lambda v: _valid_until(v, "issued", Span(int(number(v, "days")), Unit.DAYS)),
    "C-DATE-03": _apply_by,
    "C-EFF-01": _applicability,
    "C-EFF-02": _run_off,
    "C-THR-01": _open_enough,
    "C-THR-02": _too_small,
    "D-CAL-01": _crossing,
    "F-UV-01": _lamp_life,
    "I-CHIP-01": _transponder,
    "I-CHIP-02": _transponder_word,
    "T-HRS-01": _hours_between,
    "T-ISO3166-01": lambda v: is_user_assigned(v["code"]),
    "T-ISO8601-01": lambda v: day_after(day(v, "start"), span_of(v["duration"])).isoformat(),
    "T-RRULE-01": _recurring_instants,
    "T-RRULE-02": _instant,
    "T-RRULE-03": _instant,
    "T-RRULE-04": _recurring_dates,
    "T-RRULE-05": _recurring_dates,
}
"""The rule that answers each published formula, as a vector asks it."""
