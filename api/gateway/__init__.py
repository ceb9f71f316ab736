"""The gateway: a small program beside the server that reads running-hour counters and posts what they show.

Read-only toward the automation. What was read is on its own disk before it is sent, and is deleted only when the
server's answer lists it. It may run on another machine, so it knows nothing of the server's inside.
"""
