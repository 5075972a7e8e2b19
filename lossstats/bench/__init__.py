"""The health of the bench: check-standard charts, linearity, calibration line, reference articles."""
