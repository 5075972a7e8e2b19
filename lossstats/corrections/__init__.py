"""Levels brought to the nominal operating point and freed of zero and bench drift, with their covariance."""
