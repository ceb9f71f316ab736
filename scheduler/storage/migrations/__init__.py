"""The way from an older database to this one; run through `scheduler.storage.migrate`."""
