"""The only folder that knows SQL."""
