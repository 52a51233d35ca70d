"""Reads iCalendar from standard input with an independent implementation
(python3-icalendar) and prints its components as JSON."""

import json
import sys

import icalendar

cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
out = []
for part in cal.walk():
    if part.errors:
        sys.exit("%s: %s" % (part.name, part.errors))
    row = {"kind": part.name}
    for name in ("uid", "summary", "description"):
        if name in part:
            row[name] = str(part[name])
    for name in ("dtstart", "dtend", "dtstamp"):
        if name in part:
            row[name] = part[name].dt.isoformat()
    out.append(row)
json.dump(out, sys.stdout)
