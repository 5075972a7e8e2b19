"""Propagation of distributions (JCGM 101): draws, coverage intervals, validation of the linear budget."""
