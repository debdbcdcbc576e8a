"""For scripts and notebooks: what the commands do, with results that show themselves."""
