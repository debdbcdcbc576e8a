"""Advice: what to set next time, and how sure the archive is of it."""
