"""The plan page: when which pump is opened, why then, and what it leaves; its slots moved by hand."""
