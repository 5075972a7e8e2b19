"""One run to its level: screening, settled or not, level with its standard uncertainty."""
