"""iCalendar: entries as text, and how calendar programs fetch them."""
