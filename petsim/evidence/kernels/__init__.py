"""The forward passes over a log, compiled: its likelihood under one set of parameters."""
