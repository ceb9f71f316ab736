"""HTTP, pages, calendars, exports and the command line: thin edges of the scheduler; the gateway beside the server."""
