"""What single rules say of single facts, whole."""

from __future__ import annotations

from datetime import date

from domain.rules.forecast import RuleAnswer
from domain.rules.run_hours import RunPeriod
from domain.rules.service_life import CheckFacts, CheckKind, RuleKind

INSTALLED = date(2025, 3, 1)
TODAY = date(2026, 2, 20)
TWELVE_A_DAY = (RunPeriod(None, 12.0),)

ANSWERS = {
    "age": (
        {"installed_on": INSTALLED, "life_months": 12, "life_days": 400},
        RuleAnswer(
            RuleKind.AGE,
            date(2026, 3, 1),
            "It reaches its age limit of 12 months or 400 days on 1 March 2026 (installed 1 March 2025).",
            "11 months old, limit 12 months or 400 days",
            limit_months=12,
            limit_days=400,
            counted_from=INSTALLED,
        ),
    ),
    "age in days": (
        {"installed_on": INSTALLED, "life_days": 400},
        RuleAnswer(
            RuleKind.AGE,
            date(2026, 4, 5),
            "It reaches its age limit of 400 days on 5 April 2026 (installed 1 March 2025).",
            "356 days old, limit 400 days",
            limit_days=400,
            counted_from=INSTALLED,
        ),
    ),
    "age without installation": (
        {"life_months": 12, "life_days": 400},
        RuleAnswer(
            RuleKind.AGE,
            None,
            "Its age limit is 12 months or 400 days, but the installation date is not on record.",
            missing=("installed_on",),
            limit_months=12,
            limit_days=400,
        ),
    ),
    "age in months without installation": (
        {"life_months": 12},
        RuleAnswer(
            RuleKind.AGE,
            None,
            "Its age limit is 12 months, but the installation date is not on record.",
            missing=("installed_on",),
            limit_months=12,
        ),
    ),
    "age in days without installation": (
        {"life_days": 1},
        RuleAnswer(
            RuleKind.AGE,
            None,
            "Its age limit is 1 day, but the installation date is not on record.",
            missing=("installed_on",),
            limit_days=1,
        ),
    ),
    "hours without schedule": (
        {"installed_on": INSTALLED, "life_hours": 5000.0},
        RuleAnswer(
            RuleKind.HOURS,
            None,
            "Its limit is 5\u00a0000 running hours, but no hours a day are on record.",
            missing=("run_schedule",),
            limit_h=5000.0,
            counted_from=INSTALLED,
        ),
    ),
    "hours without installation": (
        {"life_hours": 5000.0, "schedule": TWELVE_A_DAY},
        RuleAnswer(
            RuleKind.HOURS,
            None,
            "Its limit is 5\u00a0000 running hours, but the installation date is not on record.",
            missing=("installed_on",),
            limit_h=5000.0,
            schedule="12 h/day",
        ),
    ),
    "hours without either": (
        {"life_hours": 5000.0},
        RuleAnswer(
            RuleKind.HOURS,
            None,
            "Its limit is 5\u00a0000 running hours, but the installation date is not on record and no hours a day are on record.",
            missing=("installed_on", "run_schedule"),
            limit_h=5000.0,
        ),
    ),
    "shelf without any date": (
        {"shelf_months": 24},
        RuleAnswer(
            RuleKind.SHELF,
            None,
            "It has a shelf life, but neither an expiry date nor a date of manufacture is on record.",
            missing=("expires_on",),
        ),
    ),
    "shelf with only an opening": (
        {"shelf_months": 24, "opened_on": date(2026, 1, 1), "opened_days": 90},
        RuleAnswer(
            RuleKind.SHELF,
            date(2026, 4, 1),
            "Its shelf life ends on 1 April 2026.",
            "shelf life to 1 April 2026",
            missing=("expires_on",),
        ),
    ),
    "output": (
        {"installed_on": INSTALLED, "output_share": 0.7, "readings": [(INSTALLED, 4.1), (TODAY, 2.8)], "unit": "UVI"},
        RuleAnswer(
            RuleKind.OUTPUT,
            TODAY,
            "Output was 2.8 UVI on 20 February 2026, below the minimum of 2.87 UVI.",
            "output 68% of first reading, limit 70%",
            limit=2.87,
            unit="UVI",
            readings=2,
            latest=2.8,
            latest_on=TODAY,
            first=4.1,
        ),
    ),
    "output of a share that is no round number": (
        {"installed_on": INSTALLED, "output_share": 0.12345678, "readings": [(INSTALLED, 1.0)]},
        RuleAnswer(
            RuleKind.OUTPUT,
            None,
            "Output was 1 on 1 March 2025, not below the minimum of 0.123457.",
            limit=0.123457,
            readings=1,
            latest=1.0,
            latest_on=INSTALLED,
            first=1.0,
        ),
    ),
    "output at nothing from the first": (
        {"installed_on": INSTALLED, "output_share": 0.7, "readings": [(INSTALLED, 0.0)]},
        RuleAnswer(
            RuleKind.OUTPUT,
            None,
            "Output was 0 on 1 March 2025, not below the minimum of 0.",
            limit=0.0,
            readings=1,
            latest=0.0,
            latest_on=INSTALLED,
            first=0.0,
        ),
    ),
    "output below its minimum before its first reading": (
        {"output_minimum": 2.0, "output_share": 0.7, "readings": [(TODAY, 1.5)]},
        RuleAnswer(
            RuleKind.OUTPUT,
            TODAY,
            "Output was 1.5 on 20 February 2026, below the minimum of 2.",
            "output 1.5, limit 2",
            limit=2.0,
            readings=1,
            latest=1.5,
            latest_on=TODAY,
        ),
    ),
    "output above its minimum before its first reading": (
        {"output_minimum": 2.0, "output_share": 0.7, "readings": [(TODAY, 3.0)]},
        RuleAnswer(
            RuleKind.OUTPUT,
            None,
            "Output was 3 on 20 February 2026, not below the minimum of 2.",
            missing=("installed_on",),
            limit=2.0,
            readings=1,
            latest=3.0,
            latest_on=TODAY,
        ),
    ),
    "output never measured": (
        {"output_minimum": 2.0, "unit": "UVI"},
        RuleAnswer(
            RuleKind.OUTPUT,
            None,
            "Its output has a minimum, but its output has not been measured.",
            missing=("output_readings",),
            limit=2.0,
            unit="UVI",
            readings=0,
        ),
    ),
    "output of no unit measured before burn-in only": (
        {
            "installed_on": INSTALLED,
            "output_share": 0.7,
            "burn_in_hours": 100.0,
            "schedule": TWELVE_A_DAY,
            "readings": [(INSTALLED, 5.0)],
        },
        RuleAnswer(
            RuleKind.OUTPUT,
            None,
            "Its output has a minimum, but no output reading after burn-in is on record to compare with.",
            missing=("first_output_reading",),
            readings=1,
        ),
    ),
    "check": (
        {"installed_on": INSTALLED, "checks": [CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 2, 1))]},
        RuleAnswer(
            RuleKind.CHECK,
            date(2026, 3, 3),
            "Its calibration is due by 3 March 2026 (last done 1 February 2026).",
            "calibration due, last done 1 February 2026",
            check=CheckKind.CALIBRATION,
            counted_from=date(2026, 2, 1),
        ),
    ),
    "check never made": (
        {"installed_on": INSTALLED, "checks": [CheckFacts(CheckKind.ELECTRICAL, interval_months=12)]},
        RuleAnswer(
            RuleKind.CHECK,
            date(2026, 3, 1),
            "Its electrical inspection is due by 1 March 2026 (never done).",
            "electrical inspection due, never done",
            check=CheckKind.ELECTRICAL,
            counted_from=INSTALLED,
        ),
    ),
    "check made beside one that cannot be dated": (
        {
            "checks": [
                CheckFacts(CheckKind.ELECTRICAL, interval_months=12),
                CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 2, 1)),
            ]
        },
        RuleAnswer(
            RuleKind.CHECK,
            date(2026, 3, 3),
            "Its calibration is due by 3 March 2026 (last done 1 February 2026).",
            "calibration due, last done 1 February 2026",
            missing=("installed_on",),
            check=CheckKind.CALIBRATION,
            counted_from=date(2026, 2, 1),
        ),
    ),
    "check failed beside one that cannot be dated": (
        {
            "checks": [
                CheckFacts(CheckKind.ELECTRICAL, interval_months=12),
                CheckFacts(CheckKind.CALIBRATION, checked_on=date(2026, 2, 3), failed_on=date(2026, 2, 1)),
            ]
        },
        RuleAnswer(
            RuleKind.CHECK,
            date(2026, 2, 1),
            "Its calibration failed on 1 February 2026.",
            "calibration failed 1 February 2026",
            missing=("installed_on",),
            check=CheckKind.CALIBRATION,
            failed_on=date(2026, 2, 1),
        ),
    ),
    "check every month that cannot be dated": (
        {"checks": [CheckFacts(CheckKind.CALIBRATION, interval_months=1)]},
        RuleAnswer(
            RuleKind.CHECK,
            None,
            "Its calibration has never been done and the installation date is not on record.",
            missing=("installed_on",),
        ),
    ),
    "check every day that cannot be dated": (
        {"checks": [CheckFacts(CheckKind.ELECTRICAL, interval_days=1)]},
        RuleAnswer(
            RuleKind.CHECK,
            None,
            "Its electrical inspection has never been done and the installation date is not on record.",
            missing=("installed_on",),
        ),
    ),
}
