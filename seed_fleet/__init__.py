"""An outsider: two invented ships, and counters that post over HTTP like a gateway. Knows nothing of the server."""
