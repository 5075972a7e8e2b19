"""Pictures of a finished result; they compute nothing."""
