"""A plan tried out on the simulator, through the analysis that will be used."""
