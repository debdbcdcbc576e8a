"""Intake: from folders to the frame table."""
