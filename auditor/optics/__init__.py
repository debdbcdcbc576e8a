"""Optics."""
