"""Three conditions or more: every pair with the family's error held, ranking, statement."""
