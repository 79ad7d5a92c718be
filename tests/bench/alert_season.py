"""The demo season day by day: how often alerts are told, and how long before R2 that of bloom is.

Every field is walked on the day of the route and found without pests; nobody notes a stage. R2 is
that of the forecast once the season is over::

    python tests/bench/alert_season.py [--first 2025-05-01] [--days 150]
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers" / "builders"))

from alert_days import YEAR, AlertDays, alert_days, whole_year


def main() -> None:
    """Walk the season and print it."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--first", type=dt.date.fromisoformat, default=dt.date(YEAR, 4, 25))
    asked.add_argument("--days", type=int, default=150)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = whole_year(Path(scratch) / "demo")
        print_days(alert_days(folder, first=given.first, days=given.days))


def print_days(found: AlertDays) -> None:
    """Weeks, kinds, and days from the bloom alert to R2."""
    weeks = Counter((day - found.first).days // 7 for day, _ in found.told)
    kinds = Counter(kind for _, kind in found.told)
    fullest = max(weeks.values())
    print(f"{len(found.told)} alerts; in the fullest week {fullest}; {dict(kinds)}")
    for week, number in sorted(weeks.items()):
        print(f"  week from {found.first + dt.timedelta(days=7 * week)}: {number}")
    leads = sorted(found.bloom_leads.items(), key=lambda item: item[1])
    within = sum(3 <= lead <= 7 for _, lead in leads)
    print(f"beans near R2: {within} of {found.fields} fields told 3 to 7 days ahead, once each")
    print("  " + ", ".join(f"{field} {lead}" for field, lead in leads))
    print(f"  told more than once: {found.bloom_again}")


if __name__ == "__main__":
    main()
