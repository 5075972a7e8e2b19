"""The order of the runs on the bench's clock, and how the runs done depart from the sealed plan."""
