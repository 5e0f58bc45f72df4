"""Telemetry ground station for a small radio-controlled car driven fast in a straight line."""

__version__ = "0.1.0"
