"""Sensors and whether they were in calibration."""

from __future__ import annotations

from datetime import date

from toolbench.season.bench import Bench
from toolbench.view.markup import Shown, render


def _day(day: date | None) -> str:
    return day.isoformat() if day else "–"


def show_sensors(bench: Bench) -> Shown:
    """Every sensor with its calibration in force at its last run, and whether it was overdue."""
    rows = [
        {
            "sensor": one.sensor,
            "quantity": one.quantity.replace("_", " "),
            "runs": str(one.runs),
            "calibrated": _day(one.calibrated),
            "due": _day(one.due),
            "last_used": _day(one.last_used),
            "state": one.state,
        }
        for one in bench.sensors
    ]
    lines = [f"{row['sensor']}: due {row['due']}, last used {row['last_used']}: {row['state']}" for row in rows]
    return Shown(html=render("sensors", {"rows": rows}), text="\n".join(lines) or "No sensor is stated.")
