"""Evidence: from the frame table to counts, intervals and the fitted model."""
