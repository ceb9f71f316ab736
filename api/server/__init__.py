"""The application: doors, who may pass them, errors, logs, and the cache of calendars."""
