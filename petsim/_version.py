"""The version of the package, below everything that writes it down."""

__version__ = "0.1.0"
