"""What must stay while the code is re-arranged: answers, addresses, record, calendars, plans, stored rows.

The frozen material stands in `kept/`; `make.py` made it. `doors.py` is the only file here that knows where things are.
"""
