"""The record on pages: what is on record of one pump, and what is found again by words."""
