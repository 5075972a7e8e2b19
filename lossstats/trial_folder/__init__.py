"""A trial as a folder of files: every key of trial.toml, strict readers, faults named by file, line and column."""
