"""The forward passes over a log, compiled: its likelihood under one set of parameters."""

from pathlib import Path

from petsim.life.compiled.compiling import digest_of

SOURCES = digest_of(Path(__file__).parent)
"""What compiled passes are known by: all sources of this folder, as they share constants."""
