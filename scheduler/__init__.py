"""Leadline's engine room: running hours, due jobs, the stagger plan, and the record of work. Knows no HTTP, HTML or iCalendar."""
