"""The version, from the installed distribution."""

from importlib.metadata import PackageNotFoundError, version

try:
    VERSION = version("leadline")
except PackageNotFoundError:  # a tree that was never installed
    VERSION = "0"
