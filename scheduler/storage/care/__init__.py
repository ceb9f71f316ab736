"""Copies of the database and its photos, and putting them back."""
