"""Guided triage for a commercial ice-machine hotline."""

__version__ = "0.1.0"
