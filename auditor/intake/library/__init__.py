"""A folder tree to frames as their files tell them, each file read once."""
