"""What people say of their frames: session file, notes, stretches, selects, marks, shares."""
